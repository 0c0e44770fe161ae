// The page begins: what it kept is taken up again, and every word on it gets its work.

const theme = (dark) => {
  root.dataset.theme = dark ? "dark" : "light";
  $("looks").textContent = dark ? "Light look" : "Dark look";
  if (facts.player) { facts.player.arrange(); drawKept(); }
};

const begin = async () => {
  const given = await (await answerOf(await fetch("start"))).json();
  Object.assign(app, { forms: given.forms, form: given.forms.job, choices: given.choices, largest: given.largest_program });
  Object.assign(state, { folder: given.folder, place: `mizo-bench ${given.folder}/${given.file || ""}` });
  const before = recall(state.place);
  const job = { file: given.file, seen: given.seen, saved: given.file ? given.text : "" };
  Object.assign(state, { jobs: [job], texts: [given.text], of: [0], at: 0 }, before || {});
  if (before && given.file && state.file === given.file && state.saved !== given.text) {
    if (textNow() === state.saved) { Object.assign(state.job, job); putText(given.text); }
    else notice("disk", `${given.file} has changed on disk since this page last saw it.`, ["Take the one on disk", takeFromDisk], ["Keep what is here", () => notice("disk", "")]);
  }
  wishes.push(...(before && before.wishes) || []); // nobody had answered these
  setHow(state.how);
  await look();
  buildForm();
  showFacts();
  showProblems();
  root.dataset.ready = "yes";
  await recallKept();
};

$("title").addEventListener("input", (event) => { typed(); change("title", orNone(event.target.value)); });
$("title").addEventListener("keydown", (event) => { if (event.key === "Enter") event.target.blur(); });
$("undo").addEventListener("click", () => step(-1));
$("redo").addEventListener("click", () => step(1));
$("save").addEventListener("click", () => save());
$("bring").addEventListener("click", () => $("picked").click());
$("words").addEventListener("click", editText);
$("looks").addEventListener("click", () => {
  theme(root.dataset.theme !== "dark");
  try { localStorage.setItem("mizo-look", root.dataset.theme); } catch { /* shut */ }
});
$("keep").addEventListener("click", keepVersion);
$("take-program").addEventListener("click", takeProgram);
$("take-job").addEventListener("click", takeJob);
$("take-sheet").addEventListener("click", printSheet);
for (const button of document.querySelectorAll("[data-take]")) button.addEventListener("click", () => takeFile(button.dataset.take));
for (const radio of document.getElementsByName("how")) radio.addEventListener("change", () => setHow(radio.value));
$("cards").addEventListener("submit", (event) => event.preventDefault());
$("verdict").addEventListener("click", () => {
  const wrong = firstWrong();
  if (wrong) { wrong.row.scrollIntoView({ block: "center" }); wrong.focus(); return; }
  const finding = $("found").querySelector("button");
  if (finding) { finding.scrollIntoView({ block: "nearest" }); finding.focus(); }
});
addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const key = event.key.toLowerCase(), act = { z: () => step(event.shiftKey ? 1 : -1), y: () => step(1), s: () => save(), p: printSheet }[key];
  if (!act || document.querySelector("dialog[open]") || (key === "p" && !app.plan)) return;
  event.preventDefault();
  act();
});
addEventListener("beforeunload", remember);

const prefers = matchMedia("(prefers-color-scheme: dark)");
let looks = null;
try { looks = localStorage.getItem("mizo-look"); } catch { /* shut */ }
theme(looks ? looks === "dark" : prefers.matches);
prefers.addEventListener("change", (event) => theme(event.matches));
begin().catch((error) => notice("server", `The page could not begin: ${error.message}`));
