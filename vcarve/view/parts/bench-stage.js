// What comes of the numbers: the piece on its stage, the answers under it, the findings, and the version kept beside it.

const root = document.documentElement;
const facts = { shows: null, kept: null, player: null }; // the text that is shown, what is known of the kept version, who plays

// --- the piece --------------------------------------------------------------------------------------------------------------------

const showPiece = () => {
  if (app.look.panel) { facts.player = null; showPanel(); return; }
  const data = { ...app.look.stage, ...(app.plan && app.plan.stage) };
  const before = facts.player, onZeroMoved = (word) => change("zero.xy", word);
  const onWord = (text) => { $("told").textContent = text; };
  facts.player = show(data, { before, how: state.how, onHow: noteHow, onSight, onClampMoved: moveClamp, onZeroMoved, onWord });
};
const onSight = (sight) => {
  if (JSON.stringify(sight) === JSON.stringify(facts.sight)) return;
  facts.sight = sight;
  drawKept();
};
// Whatever else on the page takes or leaves room, the piece fits its stage.
const fitting = new ResizeObserver(([{ contentRect: { width, height } }]) => {
  const now = `${Math.round(width)} ${Math.round(height)}`;
  if (facts.player && facts.room !== now) { facts.player.arrange(); drawKept(); }
  facts.room = now;
});
fitting.observe($("stage"));
const noteHow = (how) => {
  state.how = how;
  remember();
  for (const radio of document.getElementsByName("how")) radio.checked = radio.value === how;
};
const setHow = (how) => {
  noteHow(how);
  if (facts.player) facts.player.how(how);
  drawKept();
};
// A place in the unit in which it was written before.
const lengthLike = (written, mm) => (/\bin\b|"|inch/.test(written || "") ? `${Number((mm / 25.4).toFixed(3))} in` : `${Number(mm.toFixed(1))} mm`);
const moveClamp = (index, x, y) => {
  for (const [key, mm] of [["x", x], ["y", y]]) {
    const path = `clamps.${index}.${key}`;
    change(path, lengthLike(app.written[path], mm));
  }
};

// A panel: each tile is a button that lays a wood.
const showPanel = () => {
  const { svg, tiles, size: [wide, high] } = app.look.panel, drawn = svgOf(svg), held = document.activeElement && document.activeElement.getAttribute("data-tile");
  drawn.setAttribute("role", "group");
  for (const { path, at: [x, y], word } of tiles) {
    const tile = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    const told = { x: x - wide / 2, y: y - high / 2, width: wide, height: high, class: "tile", tabindex: 0, role: "button", "aria-label": word, "data-tile": path };
    for (const [key, value] of Object.entries(told)) tile.setAttribute(key, value);
    tile.addEventListener("click", () => layWood(path));
    tile.addEventListener("keydown", (event) => { if (event.key === "Enter" || event.key === " ") { event.preventDefault(); layWood(path); } });
    drawn.append(tile);
  }
  $("panel").replaceChildren(drawn);
  if (held) (drawn.querySelector(`[data-tile="${held}"]`) || $("stage")).focus();
};

// --- what the server says -----------------------------------------------------------------------------------------------------------

const onLook = (answer, more) => {
  Object.assign(app, { written: answer.written || app.written, problems: answer.problems || [] });
  if (answer.kind && answer.kind !== app.kind) { Object.assign(app, { kind: answer.kind, form: app.forms[answer.kind], look: null, plan: null }); anew = true; }
  root.dataset.kind = app.kind;
  app.late = false;
  if (answer.look) {
    app.look = answer.look;
    app.used = answer.look.used || {};
    app.plan = null;
    facts.shows = answer.text;
    showFindings(answer.look.findings);
    document.title = `${answer.look.title || "untitled"} · Mizo bench`;
    showFacts();
  }
  if (anew) { anew = false; buildForm(); showFacts(); } else fillForm();
  showProblems();
  const wrong = app.problems.length > 0;
  root.dataset.look = more ? "asking" : wrong ? "wrong" : "shown";
  notice("server", "");
  if (wrong) { stopPlan(); app.plan = null; }
  $("sheet").replaceChildren(); // that of other numbers is not printed
  showWords();
  showAnswers();
  showTime();
  if (answer.look) showPiece(); // once all round it has its room
  if (!wrong && !more) planSoon(answer.text);
};
const onProgress = ({ stage, share }) => {
  root.dataset.plan = "asking";
  app.progress = { stage, share };
  showProgress();
};
const onPlan = (done) => {
  app.plan = done;
  app.progress = null;
  notice("plan", "");
  showFindings(done.findings);
  showFacts();
  showVerdict();
  showAnswers();
  showTime();
  showWords();
  showPiece();
  root.dataset.plan = "done";
  speakSoon();
  planKept();
};
const onNoPlan = (error) => {
  root.dataset.plan = "none";
  app.progress = null;
  if (error instanceof Refusal && error.told.problems) { app.problems = error.told.problems; showProblems(); }
  else notice("plan", `There is no plan: ${error.message}`);
  showTime();
};
// The piece takes its time: what is shown meanwhile is that of the numbers before.
const onLate = () => {
  Object.assign(app, { late: true, plan: null, progress: null });
  $("shown").classList.add("old");
  showVerdict();
  showWords();
  showAnswers();
  showTime();
};
const onRefused = (error, edits) => {
  notice("server", [edits.map(({ path }) => path).join(", "), error.message].filter(Boolean).join(": "));
  app.late = false;
  if (wishes.length || textNow() !== facts.shows) return;
  showProblems();
  fillForm(); // all is as it was
  root.dataset.look = "shown";
  planSoon(facts.shows);
};
const ENDED = "Mizo does not answer; nothing is lost. Has 'mizo bench' been ended? Start it again in the same folder.";
const ANEW = "'mizo bench' has been started anew: open the address that it has printed now. Nothing is lost: what is here is there too.";
const onSilence = (error) => {
  remember();
  notice("server", error instanceof Refusal && error.status === 403 ? ANEW : ENDED);
};

// Told above the piece, each from somewhere.
const notices = new Map();
const notice = (from, text, ...actions) => {
  if (text) notices.set(from, [text, actions]); else notices.delete(from);
  const box = $("notice");
  const now = [...notices.values()];
  box.hidden = now.length === 0;
  box.replaceChildren(...now.flatMap(([words, buttons]) => [el("span", {}, words), ...buttons.map(([word, act]) => {
    const button = el("button", { type: "button", class: "word" }, word);
    button.addEventListener("click", act);
    return button;
  })]));
};

// --- verdict and findings ---------------------------------------------------------------------------------------------------------------

const counted = (count, word) => `${count} ${word}${count === 1 ? "" : "s"}`;
const showVerdict = () => {
  const button = $("verdict"), known = app.plan || app.look;
  const refused = known ? known.findings.filter((one) => one.severity === "refuse").length : 0;
  let kind = "busy", words = "Working out the plan";
  if (app.late) words = "Laying out the piece";
  else if (app.problems.length) [kind, words] = ["caution", `${counted(app.problems.length, "number")} to put right`];
  else if (app.plan) [kind, words] = [app.plan.kind, app.plan.verdict];
  else if (refused) [kind, words] = ["refuse", `Must not be cut: ${counted(refused, "reason")}`];
  else if (!app.look) words = "Laying out the piece";
  button.className = `verdict ${kind}`;
  button.textContent = words;
};

const showFindings = (findings) => {
  const box = $("found");
  box.hidden = $("found-sign").hidden = findings.length === 0;
  const told = JSON.stringify(findings.map(({ sentence, severity }) => [sentence, severity]));
  if (box.dataset.told === told) return;
  box.dataset.told = told;
  const items = findings.map(({ severity, code, sentence, places }, k) => {
    const many = Array.isArray(places) ? places.length : places || 0;
    const about = [severity === "refuse" ? "must not be cut" : "caution", many > 1 ? el("output", { "aria-live": "off" }, `${many} places`) : null, code];
    return el("li", {}, el("button", { type: "button", class: `finding ${severity}`, "data-finding": String(k), "aria-pressed": "false" },
      el("b", { class: "mark", "aria-hidden": "true" }, String(k + 1)),
      el("span", {}, sentence.replace(/( \(\d+ places\))?( \[[a-z0-9-]+\])?$/, ""), el("small", {}, ...about.filter(Boolean).flatMap((part, n) => (n ? [" · ", part] : [part]))))));
  });
  box.replaceChildren(el("h2", {}, "Findings"), el("ol", { class: "findings" }, ...items));
};

// --- answers: the few figures that matter -------------------------------------------------------------------------------------------------

let planLabels = ["Time", "Passes"];
// Each a label, the figure, and what else belongs to it.
const answersOf = (look, plan) => {
  if (plan) planLabels = plan.answers.map(([label]) => label);
  return [...(look ? look.answers : []), ...(plan ? plan.answers : planLabels.map((label) => [label, "…", ""]))];
};
// A figure and its unit stand on one line.
const together = (text) => text.replace(/(\d) (?=(?:mm|in|s|min|h|%)(?![a-z]))/g, "$1\u00a0").replace(/± /g, "±\u00a0");
const answer = ([, figure, rest], how) => el("dd", { class: how }, el("span", { class: "told" }, together(figure)), rest ? el("small", {}, together(rest)) : null);
const showAnswers = () => {
  const box = $("answers"), kept = facts.kept ? new Map(answersOf(facts.kept.look, facts.kept.plan).map((one) => [one[0], one])) : null;
  const groups = answersOf(app.look, app.plan).map((one) => {
    const [label, figure] = one, was = kept ? kept.get(label) || [label, "…", ""] : null;
    const differs = was && figure !== "…" && was[1] !== "…" && was[1] !== figure;
    return el("div", { "data-label": label, class: differs ? "differs" : "" }, el("dt", {}, label), answer(one, figure === "…" ? "open" : ""), was ? answer(was, "kept") : null);
  });
  if (kept) groups.unshift(el("div", { class: "which" }, el("dt", {}), el("dd", {}, "now"), el("dd", { class: "kept" }, "kept")));
  box.replaceChildren(el("dl", {}, ...groups), ...(kept ? [differing()] : []));
};
const differing = () => {
  const was = facts.kept.written, now = app.written;
  const called = (key) => wordsOf(key.replace(/s?\.(\d+)(\.|$)/, (all, index) => ` ${Number(index) + 1} `).replaceAll(".", " ").trim());
  const told = new Map();
  for (const key of new Set([...Object.keys(was), ...Object.keys(now)])) {
    if (was[key] === now[key]) continue;
    const item = (/^.*\.\d+(?=\.)/.exec(key) || [])[0], has = (values) => Object.keys(values).some((one) => one.startsWith(`${item}.`));
    if (item && has(was) !== has(now)) told.set(item, [has(was) ? "taken out" : "added"]);
    else told.set(key, [el("s", {}, was[key] === undefined ? "left out" : was[key]), " ", el("b", {}, now[key] === undefined ? "left out" : now[key])]);
  }
  const keys = [...told.keys()], one = (key) => el("li", {}, `${called(key)} `, ...told.get(key));
  const take = el("button", { type: "button", class: "word", id: "take-kept" }, "Take the kept one"), drop = el("button", { type: "button", class: "word", id: "let-go" }, "Let it go");
  take.addEventListener("click", () => { const { text } = facts.kept; letGo(); takeText(text); });
  drop.addEventListener("click", letGo);
  return el("div", { class: "against" }, keys.length ? el("ul", { "aria-label": "Numbers that differ, kept and now" }, ...keys.slice(0, 8).map(one), ...(keys.length > 8 ? [el("li", {}, `and ${keys.length - 8} more`)] : []))
    : el("p", { class: "quiet" }, "No number differs from the kept version."), take, drop);
};
// Heard a moment after the last change.
let speaking = 0;
const speakSoon = () => {
  clearTimeout(speaking);
  speaking = setTimeout(() => { $("told").textContent = [$("verdict").textContent, ...answersOf(app.look, app.plan).filter(([, figure]) => figure !== "…").map(([label, figure, rest]) => `${label}: ${figure}${rest ? `, ${rest}` : ""}`)].join(". "); }, 700);
};

// --- facts in the cards they belong to -----------------------------------------------------------------------------------------------------

const rows = (told) => (told && told.length ? el("dl", { class: "rows" }, ...told.map(([label, text]) => el("div", {}, el("dt", {}, label), el("dd", {}, text)))) : null);
const showFacts = () => {
  const { look, plan } = app, into = (id, ...parts) => {
    const box = $(`${id}-facts`), open = box && box.querySelector("details[open]") !== null;
    if (box) box.replaceChildren(...parts.filter(Boolean));
    if (open) for (const more of box.querySelectorAll("details")) more.open = true; // as it was
  };
  if (!look) return;
  const but = (told, ...labels) => (told || []).filter(([label]) => !labels.some((one) => label.startsWith(one)));
  into("card-groove", svgOf(look.section), rows(but(look.facts.groove, "Groove"))); // which the drawing shows
  const usual = look.facts.speeds || [];
  into("card-machine", rows((look.facts.tool || []).filter(([label]) => label === "Speeds")), usual.length
    ? el("details", { class: "more" }, el("summary", {}, "beside what is usual ", el("small", {}, "chip, feed, plunge, step, surface")), rows(usual)) : null);
  const told = plan ? but([...(plan.facts.program || []), ...(plan.facts.plan || [])], "Running time", "Passes") : [];
  into("card-panel", rows(look.facts.panel));
  into("card-plan", told.length ? el("details", { class: "more" }, el("summary", {}, "figures ", el("small", {}, told.map(([label]) => label.toLowerCase()).join(", "))), rows(told)) : null);
};

// --- the time line: what plays where there is a program, else how far the plan is -----------------------------------------------------------

const showTime = () => {
  const box = $("time");
  box.classList.toggle("waits", !app.plan || app.kind === "panel");
  showProgress();
};
const showProgress = () => {
  const told = app.progress, words = $("progress-words"), bar = $("progress");
  const wrong = app.problems.length > 0;
  words.textContent = wrong ? "The plan waits for numbers that are right." : told ? `Working out the plan: ${told.stage}` : app.late ? "Laying out the piece" : "Working out the plan";
  bar.hidden = wrong || (app.kind === "panel" && app.plan !== null);
  if (bar.hidden && !wrong) words.textContent = "All programs are worked out, read back and dry-run.";
  if (told && Number.isFinite(told.share)) bar.value = told.share; else bar.removeAttribute("value");
};

// --- keeping a version ------------------------------------------------------------------------------------------------------------------------

const keepVersion = () => {
  if (!app.look || app.problems.length) return;
  state.kept = textNow();
  facts.kept = { text: textNow(), written: app.written, look: app.look, plan: app.plan };
  remember();
  showKept();
};
const letGo = () => {
  state.kept = null;
  facts.kept = null;
  remember();
  showKept();
  $("keep").focus();
};
const showKept = () => {
  const kept = facts.kept !== null;
  $("was").hidden = $("which-now").hidden = !kept;
  $("shown").classList.toggle("two", kept);
  $("keep").textContent = kept ? "Keep this one instead" : "Keep this version";
  showAnswers();
  drawKept();
};
const drawKept = () => {
  if (facts.kept) paintStill($("was-still"), facts.kept.look.stage, state.how === "run" ? "wood" : state.how, facts.sight);
};
// After a reload the kept version is known by its text alone.
const recallKept = async () => {
  if (!state.kept) return;
  try {
    const answer = await (await post("look", { text: state.kept, edits: [] })).json();
    if (!answer.look) return;
    facts.kept = { text: state.kept, written: answer.written, look: answer.look, plan: null };
    showKept();
    planKept();
  } catch { /* it is let be */ }
};
// Its plan, while there is nothing else to plan.
const planKept = () => {
  const { kept } = facts;
  if (!kept || kept.plan) return;
  const done = (told) => { kept.plan = told; if (facts.kept === kept) showAnswers(); };
  if (planned.has(kept.text)) done(planned.get(kept.text));
  else if (app.plan) plan(kept.text, () => {}, done, () => {});
};
