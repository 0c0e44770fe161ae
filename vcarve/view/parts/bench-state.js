// State: the job file's text is all there is; here it is kept with the texts before it, so that nothing is lost.
//
// The texts and the version kept beside them lie in the browser's stores under the folder and the file: that of the tab, so that two
// pages do not take each other's, and the common one for a tab that is opened anew.

const MOST_TEXTS = 200;
const BURST_MS = 1500; // changes of one key within this time are taken back at once

const state = {
  texts: [""], at: 0, // the texts so far, and which of them is shown
  jobs: [{ file: null, seen: null, saved: "" }], of: [0], // whose texts they are: a job brought in is another than the one before it
  get job() { return this.jobs[this.of[this.at]]; },
  get file() { return this.job.file; }, // name in the folder, or null
  get seen() { return this.job.seen; }, // digest of the file on disk as it was last read or written
  get saved() { return this.job.saved; }, // the text on disk, as far as this page knows
  kept: null, // the text of the version that is kept
  widths: null, // the table of measured widths, once one is typed or brought
  how: "wood", // how the piece is shown
  place: "", // where all this lies in the browser's stores
  last: { path: null, when: 0 },
};
const textNow = () => state.texts[state.at];

const stores = [() => sessionStorage, () => localStorage];
const remember = () => {
  const { jobs, kept, widths, how } = state;
  for (let most = MOST_TEXTS; most >= 1; most = Math.floor(most / 4)) { // where there is no room for all, the last few
    const first = Math.max(0, Math.min(state.at, state.texts.length - most)), texts = state.texts.slice(first, first + most), of = state.of.slice(first, first + most);
    const value = JSON.stringify({ wishes, jobs, kept, widths, how, texts, of, at: state.at - first });
    try { for (const store of stores) store().setItem(state.place, value); return; } catch { /* full, or shut: a shorter list */ }
  }
};
const recall = (place) => {
  for (const store of stores) {
    try {
      const kept = JSON.parse(store().getItem(place));
      if (kept && Array.isArray(kept.texts) && kept.texts.every((text) => typeof text === "string") && kept.jobs[kept.of[kept.at]]) return kept;
    } catch { /* shut, or written by something else */ }
  }
  return null;
};

// The next text, of another job if one is given; one more change of the same key at once takes the place of the one before.  What
// was taken back is gone.
const putText = (text, path = null, job = null) => {
  if (text === textNow() && !job) return;
  const of = job ? state.jobs.push(job) - 1 : state.of[state.at];
  const now = Date.now(), burst = path !== null && path === state.last.path && now - state.last.when < BURST_MS && state.at > 0;
  state.texts.length = state.of.length = state.at + (burst ? 0 : 1);
  state.texts.push(text);
  state.of.push(of);
  if (state.texts.length > MOST_TEXTS) { state.texts.shift(); state.of.shift(); }
  state.at = state.texts.length - 1;
  state.last = { path, when: now };
  remember();
};

// Back (-1) or on (1) among the texts; whether there was one.
const goTexts = (by) => {
  const to = Math.max(0, Math.min(state.texts.length - 1, state.at + by));
  if (to === state.at) return false;
  state.at = to;
  state.last = { path: null, when: 0 };
  remember();
  return true;
};
