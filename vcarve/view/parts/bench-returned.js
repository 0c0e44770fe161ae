// What comes back from the mill: a program that broke off, of which the rest is made, and measured widths that say what the bit is.

const ASK_AFTER_MS = 300; // whoever types is answered when they pause
const MOST_REASONS = 10;

// A dialog above the page, and no other.
const openAlone = (dialog) => {
  for (const other of document.querySelectorAll("dialog[open]")) if (other !== dialog) other.close();
  if (!dialog.open) dialog.showModal();
};
// What is said of a file that was brought is said where it can be seen.
const sayBrought = (words) => {
  const dialog = [$("rest"), $("fit")].find((one) => one.open);
  if (dialog) dialog.querySelector(".outcome").replaceChildren(el("p", { class: "must" }, words)); else notice("drop", words);
};

// A control by itself, with what is wrong told below it.
const alone = (id, onInput, attributes = {}) => {
  const input = el("input", { type: "text", id, autocomplete: "off", autocapitalize: "off", spellcheck: "false", "aria-describedby": `${id}-wrong`, ...attributes });
  const wrong = el("p", { class: "wrong", id: `${id}-wrong` });
  input.addEventListener("input", () => onInput(input.value));
  const say = (text) => {
    wrong.textContent = text || "";
    input.closest(".field, tr").classList.toggle("bad", Boolean(text));
    if (text) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
  };
  return { input, wrong, say };
};
const labelled = (id, label, meaning, onInput) => {
  const field = alone(id, onInput, { "aria-describedby": `${id}-wrong ${id}-means` });
  const name = el("div", { class: "name" }, el("label", { for: id, class: "key" }, label), el("small", { class: "meaning", id: `${id}-means` }, meaning));
  return { ...field, row: el("div", { class: "field" }, name, field.input, field.wrong) };
};
// Labels and texts; a row without a label goes on with the one before.
const told = (pairs) => {
  const groups = [];
  for (const [label, words] of pairs) if (label || !groups.length) groups.push([label, [words]]); else groups[groups.length - 1][1].push(words);
  return el("dl", { class: "rows" }, ...groups.map(([label, all]) => el("div", {}, el("dt", {}, label), ...all.map((words) => el("dd", {}, together(words))))));
};
const listed = (sentences, how) => (sentences.length ? el("ul", { class: how }, ...sentences.map((words) => el("li", {}, words))) : null);

// --- going on after a break -----------------------------------------------------------------------------------------------------------

const BROKE = [["--pass", "in pass", "counted from 1"], ["--line", "at line", "of the program, as the sender shows it"], ["--after", "after", "so long from its start, such as 7 min or 3 min 05 s"]];
const rest = { program: null, how: null, found: null, fields: new Map(), timer: 0, asked: null };

const openRest = (program = rest.program) => {
  if (program !== rest.program) Object.assign(rest, { program, found: null });
  if (!rest.fields.size) {
    for (const [how, label, meaning] of BROKE) rest.fields.set(how, labelled(`rest${how}`, label, meaning, (text) => tellBreak(how, text)));
    $("rest-broke").append(...[...rest.fields.values()].map((field) => field.row));
  }
  openAlone($("rest"));
  $("rest-own").disabled = !app.plan || app.plan.refused || app.kind === "panel"; // which is many programs
  if (program) { $("rest-file").textContent = program.name; rest.fields.get(rest.how || "--pass").input.focus(); }
  askRest();
};
// One of the three is told; what it comes to in the others is shown in them.
const tellBreak = (how, text) => {
  rest.how = text.trim() ? how : null;
  for (const [other, { input }] of rest.fields) if (other !== how) input.value = "";
  clearTimeout(rest.timer);
  rest.timer = setTimeout(askRest, ASK_AFTER_MS);
};
const askRest = async () => {
  clearTimeout(rest.timer);
  if (rest.asked) rest.asked.abort();
  const { program, how } = rest, mine = rest.asked = new AbortController();
  let found = null, problems = [];
  if (program && how) {
    $("rest-told").replaceChildren(el("p", { class: "quiet" }, "Looking through the program"));
    $("take-rest").disabled = true;
    try {
      const text = app.problems.length ? null : textNow();
      found = await (await post("rest", { file: program.name, program: program.data, told: how, where: rest.fields.get(how).input.value, text }, mine.signal)).json();
    } catch (error) { problems = (error instanceof Refusal && error.told.problems) || [{ path: null, want: error.message }]; }
  }
  if (rest.asked !== mine) return;
  rest.found = found;
  showRest(problems);
};
const showRest = (problems) => {
  const { found } = rest, beside = problems.filter(({ path }) => rest.fields.has(path)), others = problems.filter(({ path }) => !rest.fields.has(path));
  for (const [how, { input, say }] of rest.fields) {
    say(beside.filter(({ path }) => path === how).map(({ want }) => want).join(" "));
    input.placeholder = found && how !== rest.how ? found.places[how] : "";
  }
  const parts = others.length ? [el("p", { class: "must" }, "No rest is made of it:"), listed(others.slice(0, MOST_REASONS).map(({ want }) => want)),
    others.length > MOST_REASONS ? el("p", {}, `and ${others.length - MOST_REASONS} more`) : null] : [];
  if (found) {
    parts.push(told(found.facts), el("p", { class: `verdict ${found.kind}` }, found.verdict), listed(found.findings.map(({ sentence }) => sentence)),
      found.alone ? el("p", { class: "must" }, found.alone) : null, told(found.run));
  }
  $("rest-told").replaceChildren(...parts.filter(Boolean));
  $("take-rest").disabled = !found || found.refused;
  $("take-rest").textContent = !found ? "The rest" : found.refused ? "The rest: must not be cut" : `The rest ${found.name}`;
};
const bytesOf = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
const inBase64 = (blob) => new Promise((done, fail) => {
  const reader = new FileReader();
  reader.addEventListener("load", () => done(reader.result.slice(reader.result.indexOf(",") + 1)));
  reader.addEventListener("error", () => fail(reader.error));
  reader.readAsDataURL(blob);
});
const bringProgram = async (file) => {
  if (file.size > app.largest) { openRest(); sayBrought(`${file.name} is too large; programs of up to ${app.largest / 2 ** 20} MiB are taken here, and larger ones by 'mizo resume'.`); return; }
  try { openRest({ name: file.name, data: await inBase64(file) }); } catch (error) { openRest(); sayBrought(`${file.name} cannot be read: ${error.message}`); }
};
$("open-rest").addEventListener("click", () => openRest());
$("rest").addEventListener("close", () => { if (rest.asked) rest.asked.abort(); });
$("rest-own").addEventListener("click", () => bringProgram(new File([app.plan.program], app.plan.name)));
$("take-rest").addEventListener("click", () => hand(rest.found.name, new Blob([bytesOf(rest.found.program)])));

// --- measured widths ----------------------------------------------------------------------------------------------------------------------

const fit = { pending: new Map(), busy: false, timer: 0, begun: null, found: null, fields: new Map(), count: -1 };

const openFit = (text) => {
  if (text !== undefined) setTable(text);
  openAlone($("fit"));
  beginFit();
};
// With nothing measured as yet it is the empty table of the coupon that the job has now.
const beginFit = () => {
  fit.begun = null;
  if (state.widths === null) $("fit-told").replaceChildren(el("p", { class: "quiet" }, "Making the table of this job's coupon"));
  askFit();
};
const setTable = (text) => {
  state.widths = text;
  fit.pending.clear();
  remember();
};
const changeFit = (path, text) => {
  const value = orNone(text);
  fit.pending.set(value === null && path.endsWith(".length") ? path.split(".")[0] : path, value);
  clearTimeout(fit.timer);
  fit.timer = setTimeout(askFit, ASK_AFTER_MS);
};
const askFit = async () => {
  if (fit.busy) return;
  fit.busy = true;
  let edits = [], before = null;
  try {
    do {
      before = state.widths;
      edits = [...fit.pending];
      fit.pending.clear();
      const found = await (await post("fit", { text: before === null ? fit.begun : before, edits: edits.map(([path, value]) => ({ path, value })), job: textNow() })).json();
      if (state.widths !== before) continue; // another table was brought meanwhile
      if (before === null && !edits.length) fit.begun = found.text; else { before = state.widths = found.text; remember(); }
      fit.found = found;
      showFit();
    } while (fit.pending.size || state.widths !== before);
  } catch (error) {
    if (state.widths === before) fit.pending = new Map([...edits, ...fit.pending]);
    $("take-fit").disabled = true;
    $("fit-told").replaceChildren(el("p", { class: "must" }, error.message));
  } finally { fit.busy = false; }
};
const grooveRow = (k) => {
  const at = `grooves.${k}`;
  const cells = [["depth", `depth of groove ${k + 1}`], ["widths", `widths of groove ${k + 1}`]].map(([key, label]) => {
    const path = `${at}.${key}`, field = alone(`fit-${path}`.replaceAll(".", "-"), (text) => changeFit(path, text), { "aria-label": label });
    fit.fields.set(path, field);
    return el("td", {}, field.input, field.wrong);
  });
  return el("tr", {}, el("th", { scope: "row" }, String(k + 1)), ...cells);
};
// All of a table that is a length, in fields; the rest is in its text.
const keyRows = (nodes, above, rows = []) => {
  for (const node of nodes) {
    const path = above ? `${above.key}.${node.key}` : node.key;
    if (node.kind === "section") keyRows(node.fields, node, rows);
    if (node.kind !== "quantity") continue;
    const [label, meaning] = !above ? [node.key, node.meaning] : node.key === "length" ? [above.key, above.meaning] : [`${above.key}: ${node.key}`, node.meaning];
    const field = labelled(`fit-${path}`.replaceAll(".", "-"), wordsOf(label), meaning, (text) => changeFit(path, text));
    field.input.placeholder = node.default || "";
    fit.fields.set(path, field);
    rows.push(field.row);
  }
  return rows;
};
const showFit = () => {
  const { written, problems, keys, fit: now } = fit.found, all = Object.entries(written);
  const count = 1 + Math.max(-1, ...all.map(([path]) => Number((/^grooves\.(\d+)\./.exec(path) || [0, -1])[1])));
  if (fit.count < 0) $("fit-keys").append(...keyRows(keys.filter(({ key }) => key !== "grooves" && key !== "bit"), null));
  if (fit.count !== count) {
    for (const path of [...fit.fields.keys()]) if (path.startsWith("grooves.")) fit.fields.delete(path);
    fit.count = count;
    $("fit-grooves").replaceChildren(...Array.from({ length: count }, (_, k) => grooveRow(k)));
  }
  const wants = new Map(), others = [];
  for (const { path, want } of problems) {
    let at = path || "";
    while (at && !fit.fields.has(at)) at = at.slice(0, Math.max(0, at.lastIndexOf(".")));
    at = at || [...fit.fields.keys()].find((key) => path && path !== "grooves" && key.startsWith(`${path}.`)) || "";
    if (at) wants.set(at, [...(wants.get(at) || []), want]); else others.push(path && path !== "grooves" ? `${path}: ${want}` : want);
  }
  for (const [path, { input, say }] of fit.fields) {
    const value = all.filter(([key]) => key === path || (key.startsWith(`${path}.`) && path.endsWith(".widths"))).map(([, text]) => text).join(", ");
    if (document.activeElement !== input && !fit.pending.has(path)) input.value = value;
    say((wants.get(path) || []).join(" "));
  }
  $("fit-bit").textContent = `As it is sold: ${all.filter(([key]) => /^bit(\.|$)/.test(key)).map(([key, text]) => (key === "bit" ? text : `${wordsOf(key.slice(4))} ${text}`)).join(", ")}`;
  const parts = others.map((want) => el("p", { class: "quiet" }, want));
  if (now) parts.push(svgOf(now.picture), listed(now.cautions, "must"), told(now.rows), el("code", {}, now.line), el("p", { class: "quiet" }, now.holds));
  $("fit-told").replaceChildren(...parts.filter(Boolean));
  $("take-fit").disabled = !now;
};
// How closely the zero is set each time no width has told: where the job says it, that stays.
const takeFit = () => {
  const { bit } = fit.found.fit, height = app.written["bit.uncertainty.height"];
  change("bit", height ? { ...bit, uncertainty: { ...bit.uncertainty, height } } : bit);
  $("fit").close();
};
const editTable = async () => {
  const before = fit.found.text, { way, text } = await question("The table of widths", "", [["Take this text", "take"], ["Leave it as it was", ""]], null, before);
  if (way === "take" && text !== before) openFit(text);
};
$("open-fit").addEventListener("click", () => openFit());
$("fit-more").addEventListener("click", () => { fit.pending.set("grooves.+", { depth: "1 mm" }); askFit(); });
$("fit-table").addEventListener("click", () => { if (fit.found) hand("widths.yaml", fit.found.text); });
$("fit-words").addEventListener("click", () => { if (fit.found) editTable(); });
$("fit-empty").addEventListener("click", () => { setTable(null); beginFit(); });
$("take-fit").addEventListener("click", takeFit);
for (const dialog of [$("rest"), $("fit")]) {
  dialog.querySelector("form").addEventListener("submit", (event) => event.preventDefault());
  dialog.querySelector("[data-shut]").addEventListener("click", () => dialog.close());
  dialog.querySelector("[data-choose]").addEventListener("click", () => $("picked").click());
}
