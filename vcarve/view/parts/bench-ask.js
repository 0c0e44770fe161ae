// Asking the server: one look at a time, and a plan once the numbers rest.
//
// What the user wants is a row of wishes: keys to change, steps back and on, whole texts.  While a look is on its way further wishes
// wait; all that have gathered by then are asked for at once, and of one key only the last value.

const PLAN_AFTER_MS = 150;
const RETRY_MS = 2000;
const LATE_MS = 400; // after this the piece shown is said to be another's

class Refusal extends Error {
  constructor(status, told) {
    super(told.want || (told.problems || []).map((one) => one.want).join(" ") || `The server answered ${status}.`);
    Object.assign(this, { status, told });
  }
}
const answerOf = async (response) => {
  if (response.ok) return response;
  let told = {};
  try { told = await response.json(); } catch { /* not one of ours */ }
  throw new Refusal(response.status, told);
};
const post = async (what, body, signal) => answerOf(await fetch(what, {
  method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), signal,
}));

const wishes = [];
let looking = false, anew = false; // anew: another text altogether, whose keys may be others
let lateLook = null; // one that is on its way too long: a change that waits ends it
const waits = (path) => wishes.some((wish) => wish.path === path || (wish.path && wish.path.startsWith(`${path}.`)));

// Change a key: `value` as it was typed, a record or list, or null to take the key out.
const change = (path, value) => {
  wish({ path, value });
  const at = { "panel.columns": 0, "panel.rows": 1 }[path], count = Number(value);
  if (at === undefined || !Number.isInteger(count) || count < 1 || count > 40) return;
  const both = [app.written["panel.columns"], app.written["panel.rows"]].map(Number);
  both[at] = count;
  fitWoods(...both);
};
const step = (by) => wish({ by });
const takeText = (text, job = null) => wish({ text, job });
const wish = (one) => {
  const again = one.path && !one.path.endsWith("+") ? wishes.findIndex((other) => other.path === one.path) : -1;
  if (again >= 0 && wishes.slice(again).every((other) => other.path)) wishes.splice(again, 1);
  wishes.push(one);
  stopPlan();
  document.documentElement.dataset.look = "asking";
  if (lateLook) lateLook.abort();
  if (!looking) { looking = true; queueMicrotask(look); } // with all else that is wished for in the same breath
};

// The edits at the head of the row, after steps and whole texts there have been taken.
const nextEdits = () => {
  while (wishes.length && !wishes[0].path) {
    const { by, text, job } = wishes.shift();
    if (by) goTexts(by); else if (text !== undefined) { putText(text, null, job); anew = true; }
  }
  const until = wishes.findIndex((one) => !one.path);
  return wishes.splice(0, until < 0 ? wishes.length : until);
};

const look = async () => {
  looking = true;
  try {
    do {
      const edits = nextEdits(), mine = new AbortController(), late = setTimeout(() => { lateLook = mine; if (wishes.length) mine.abort(); onLate(); }, LATE_MS);
      let answer;
      try {
        // What is followed by a step or a whole text nobody will see.
        answer = await (await post("look", { text: textNow(), edits, brief: wishes.length > 0 }, mine.signal)).json();
      } catch (error) {
        if (mine.signal.aborted) { wishes.unshift(...edits); continue; }
        if (error instanceof Refusal && ![403, 503].includes(error.status)) { onRefused(error, edits); continue; }
        wishes.unshift(...(edits.length ? edits : [{ by: 0 }]));
        onSilence(error);
        await new Promise((done) => setTimeout(done, RETRY_MS));
        continue;
      } finally {
        clearTimeout(late);
        lateLook = null;
      }
      const plain = edits.every(({ path, value }) => typeof value === "string" && !path.endsWith("+"));
      putText(answer.text, plain && edits.length ? edits[edits.length - 1].path : null);
      if (wishes.length === 0 || answer.look) onLook(answer, wishes.length > 0);
    } while (wishes.length);
  } finally {
    looking = false;
  }
};

// --- the plan: asked for when nothing has changed for a moment, given up as soon as something does ---------------------------

const planned = new Map(); // the last few plans by their texts: a step back shows its plan at once
const MOST_PLANNED = 6;
let planTimer = 0, planning = null;

const stopPlan = () => {
  clearTimeout(planTimer);
  if (planning) planning.abort();
  planning = null;
  document.documentElement.dataset.plan = "none";
};
const planSoon = (text) => {
  stopPlan();
  if (planned.has(text)) { onPlan(planned.get(text)); return; }
  document.documentElement.dataset.plan = "asking";
  planTimer = setTimeout(() => plan(text), PLAN_AFTER_MS);
};
const plan = async (text, progress = onProgress, then = onPlan, fail = onNoPlan) => {
  const mine = new AbortController();
  planning = mine;
  try {
    const done = await planOf(text, mine.signal, progress);
    planned.delete(text);
    planned.set(text, done);
    if (planned.size > MOST_PLANNED) planned.delete(planned.keys().next().value);
    if (planning === mine) then(done); // and no number has changed since
  } catch (error) {
    if (planning === mine) fail(error);
  } finally {
    if (planning === mine) planning = null;
  }
};
// Lines of JSON come as the work goes on; the last one holds the result.
const planOf = async (text, signal, progress) => {
  const reader = (await post("plan", { text, file: state.file }, signal)).body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (value) rest += value;
    const lines = rest.split("\n");
    rest = lines.pop();
    if (done && rest) lines.push(rest);
    for (const line of lines) {
      if (!line.trim()) continue;
      const told = JSON.parse(line);
      if (told.done) return told.done;
      if (told.problems || told.want) throw new Refusal(422, told);
      progress(told);
    }
    if (done) throw new Error("The server gave the plan up.");
  }
};
