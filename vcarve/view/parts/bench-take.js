// Taking away, saving, and bringing files in.

const hand = (name, content, kind = "text/plain;charset=utf-8") => {
  const url = URL.createObjectURL(content instanceof Blob ? content : new Blob([content], { type: kind }));
  const link = el("a", { href: url, download: name, hidden: true });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
};
const stem = () => (state.file || (app.plan && app.plan.name) || "tile").replace(/\.[^.]*$/, "");
const takeJob = () => hand(state.file || `${stem()}.yaml`, textNow());
const takeProgram = () => {
  if (app.kind === "panel") { if (app.plan && !app.plan.refused) takeFile("panel"); return; }
  if (app.plan && !app.plan.refused) hand(app.plan.name, app.plan.program); };
// Where there is a plan, one on its way is the kept version's: it makes room.
const taken = async (what) => {
  if (app.plan && planning) { planning.abort(); planning = null; }
  try { return await post("take", { text: textNow(), file: state.file, what }); } finally { planKept(); }
};
const takeFile = async (what) => {
  try {
    const response = await taken(what);
    hand(decodeURIComponent(response.headers.get("Content-Disposition").split("''")[1]), await response.blob());
    notice("take", "");
  } catch (error) { notice("take", `Not made: ${error.message}`); }
};

// The bench sheet is that of the dry-run page: taken from it, put on this page, and printed.
const printSheet = async () => {
  if (app.kind === "panel") { takeFile("page"); return; } // a page of its own
  try {
    const text = await (await taken("page")).text();
    const sheet = new DOMParser().parseFromString(/<section class="sheet"[^]*?<\/section>/.exec(text)[0], "text/html").querySelector(".sheet");
    $("sheet").replaceChildren(...sheet.children);
    showPiece(); // a player that finds the sheet paints the finished piece on it
    notice("take", "");
    print();
  } catch (error) { notice("take", `No bench sheet: ${error.message}`); }
};

const showWords = () => {
  const changed = textNow() !== state.saved || !state.file;
  $("file").textContent = state.file || "not saved yet";
  $("file").classList.toggle("changed", changed && state.file !== null);
  $("keep").disabled = !app.look || app.problems.length > 0;
  $("file").title = changed && state.file ? "changed since it was saved" : "";
  $("save").disabled = !changed;
  $("undo").disabled = state.at === 0;
  $("redo").disabled = state.at >= state.texts.length - 1;
  const take = $("take-program");
  take.disabled = !app.plan || app.plan.refused;
  const what = app.kind === "panel" ? "Folder" : "Program";
  take.textContent = app.plan && !app.plan.refused ? `${what} ${app.plan.name}` : app.plan ? `${what}: must not be cut` : what;
  $("take-sheet").disabled = !app.plan;
  for (const button of document.querySelectorAll("[data-take]")) button.disabled = app.problems.length > 0;
  document.querySelector("[data-take='cut-out']").hidden = !under("cut-out");
};

// --- a question: its words, a field if a name is asked for, and what may be done ------------------------------------------------------

const question = (title, words, actions, name = null, text = null) => new Promise((done) => {
  const dialog = $("ask"), input = name === null ? null : el("input", { type: "text", id: "ask-name", value: name, autocomplete: "off", spellcheck: "false" });
  const area = text === null ? null : el("textarea", { id: "ask-text", spellcheck: "false", rows: "24", "aria-labelledby": "ask-head" });
  if (area) area.value = text;
  const buttons = actions.map(([word, value], k) => {
    const button = el("button", { type: k === 0 ? "submit" : "button", class: k === 0 ? "main-button" : "word" }, word);
    if (k > 0) button.addEventListener("click", () => { dialog.returnValue = value; dialog.close(value); });
    return button;
  });
  const form = el("form", { method: "dialog" }, el("h2", { id: "ask-head" }, title), words ? el("p", {}, words) : null,
    input ? el("label", {}, "name ", input) : null, area, el("div", { class: "ways" }, ...buttons));
  form.addEventListener("submit", (event) => { event.preventDefault(); dialog.close(actions[0][1]); });
  dialog.returnValue = "";
  dialog.replaceChildren(form);
  dialog.addEventListener("close", () => done({ way: dialog.returnValue, name: input ? input.value.trim() : null, text: area ? area.value : null }), { once: true });
  dialog.showModal();
});

const editText = async () => {
  const { way, text } = await question("The job file", "", [["Take this text", "take"], ["Leave it as it was", ""]], null, textNow());
  if (way === "take" && text !== textNow()) takeText(text);
};

// --- the job's file ---------------------------------------------------------------------------------------------------------------------

const saved = (name, seen, text) => {
  Object.assign(state.job, { file: name, seen, saved: text });
  remember();
  showWords();
  notice("save", "");
  $("told").textContent = `${name} is saved.`;
};
// Whether it has been written, or what is on the disk was taken instead.
const save = async (over = false) => {
  if (!state.file) return saveAs();
  const text = textNow();
  try {
    const { name, seen } = await (await post("save", { text, name: state.file, seen: state.seen, ...(over ? { over: true } : {}) })).json();
    saved(name, seen, text);
    return true;
  } catch (error) {
    if (!(error instanceof Refusal)) { onSilence(error); return false; }
    if (error.status !== 409) { notice("save", `Not saved: ${error.message}`); return false; }
    const { way } = await question(`${state.file} has changed elsewhere`, error.message, [["Save under another name", "other"], ["Write over it", "over"], ["Take the one on disk", "theirs"], ["Leave it", ""]]);
    if (way === "over") return save(true);
    if (way === "other") return saveAs();
    if (way === "theirs") await takeFromDisk();
    return way === "theirs";
  }
};
const saveAs = async () => {
  const { way, name } = await question("Save the job file", `In the folder ${state.folder}`, [["Save", "save"], ["Leave it", ""]], state.file || `${stem()}.yaml`);
  if (way !== "save" || !name) return false;
  const before = { ...state.job }, full = /\.ya?ml$/.test(name) ? name : `${name}.yaml`;
  if (full !== state.file) Object.assign(state.job, { file: full, seen: null });
  const done = await save();
  if (!done) Object.assign(state.job, before); // the name was none
  return done;
};
const takeFromDisk = async () => {
  const { text, file, seen } = await (await post("open", { name: state.file })).json();
  Object.assign(state.job, { file, seen, saved: text });
  notice("disk", "");
  takeText(text);
};

// --- files that are dropped on the page, or picked ----------------------------------------------------------------------------------------

const bring = async (file) => {
  if (!/\.(ya?ml|svg|dxf)$/i.test(file.name)) { bringProgram(file); return; }
  let answer;
  try {
    answer = await (await answerOf(await fetch(`drop?name=${encodeURIComponent(file.name)}`, { method: "POST", headers: { "Content-Type": "application/octet-stream" }, body: file }))).json();
    notice("drop", "");
  } catch (error) { sayBrought(`${file.name} was not taken: ${error.message}`); return; }
  const { kind, name, text } = answer;
  if (kind === "widths") { openFit(text); return; }
  for (const dialog of [$("rest"), $("fit")]) dialog.close(); // what is brought is to be seen
  if (text !== undefined) { takeText(text, { file: file.name, seen: null, saved: "" }); return; }
  if (kind === "machine") change("machine", name);
  else if (kind === "pattern") takePattern(name);
  else {
    const { way } = await question(name, "What is this drawing?", [["Lines to cut", "lines"], ["The outline of the piece", "outline"], ["Leave it", ""]]);
    if (way === "lines") takeDrawing(name);
    else if (way === "outline") change("piece.outline", { shape: "drawing", file: name });
  }
};
const leaveOut = (...keys) => { for (const key of keys) if (under(key)) change(key, null); };
const pitchOf = (name) => {
  const [least, most] = ((app.choices["pattern.name"] || []).find((one) => one.name === name) || {}).pitch_mm || [18, 18];
  return `about ${Math.round((least + most) / 2)} mm`;
};
const takePattern = (name) => {
  leaveOut("pattern.drawing", "pattern.depths", "pattern.close-gaps", "pattern.lost-lines");
  change("pattern.name", name);
  if (!under("pattern.pitch") && !under("pattern.across")) change("pattern.pitch", pitchOf(name));
};
const takeDrawing = (name) => {
  leaveOut("pattern.name", "pattern.pitch", "pattern.across");
  change("pattern.drawing", name);
};

for (const kind of ["dragenter", "dragover"]) addEventListener(kind, (event) => { event.preventDefault(); root.dataset.drop = "over"; });
for (const kind of ["dragleave", "drop"]) addEventListener(kind, (event) => { event.preventDefault(); if (kind === "drop" || !event.relatedTarget) delete root.dataset.drop; });
addEventListener("drop", async (event) => { for (const file of event.dataTransfer.files) await bring(file); });
$("picked").addEventListener("change", async (event) => { for (const file of event.target.files) await bring(file); event.target.value = ""; });
