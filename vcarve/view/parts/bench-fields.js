// Fields: one control for each kind of value in a job file, with its label, its meaning and what is wrong with it.

const $ = (id) => document.getElementById(id);
const el = (name, attributes = {}, ...children) => {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key in node && typeof value !== "string") node[key] = value; else if (value !== null && value !== undefined) node.setAttribute(key, value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
};
const svgOf = (text) => new DOMParser().parseFromString(text || "", "text/html").querySelector("svg");
const wordsOf = (key) => String(key).replaceAll("-", " ");
// A key of a section within a section is called by both.
const labelOf = (node, path) => {
  const above = path.split(".").slice(-2, -1)[0];
  return path.split(".").length > 2 && above && !/^\d+$/.test(above) && above !== "wood" ? `${wordsOf(above)} ${wordsOf(node.key)}` : wordsOf(node.key);
};
const idOf = (path) => `key-${path.replaceAll(".", "--")}`;
// What a meaning says first; the rest is told where there is room.
const gist = (meaning) => /^(\w+: )?.*?(?=;|: | \(|, together|$)/.exec(meaning)[0].trim();

// --- stepping a number in its text: the last decimal written, of a fraction its denominator -----------------------------------

const NUMBER = /([+\-−]?)(?:(?:(\d+)[ -]+)?(\d+)\s*[/⁄]\s*(\d+)|(\d*\.\d+|\d+\.?))/;
const common = (a, b) => (b ? common(b, a % b) : a);
// The text with its number `by` steps on, or null if there is none; `parts` is the denominator that was stepped before.
const stepped = (text, by, { least = -Infinity, most = Infinity, above = false } = {}, parts = 0) => {
  const found = NUMBER.exec(text);
  if (!found) return null;
  const [all, sign, whole, over, under, decimal] = found;
  const way = sign === "-" || sign === "−" ? -1 : 1, inUnit = /^\s*(mm|deg|°|mm\/min|rpm|%)?\s*$/.test(text.slice(found.index + all.length));
  const written = (number) => text.slice(0, found.index) + number + text.slice(found.index + all.length);
  if (under || (parts && !decimal.includes("."))) {
    const per = Math.max(Number(under || 1), parts) * (Math.abs(by) < 1 ? 2 : 1);
    const value = way * (under ? Number(whole || 0) + Number(over) / Number(under) : Number(decimal));
    const next = Math.round(value * per) + Math.round(by * (Math.abs(by) < 1 ? 10 : 1));
    const size = Math.abs(next), full = Math.floor(size / per), left = size % per, shared = common(left, per);
    const fraction = left ? `${left / shared}/${per / shared}` : "";
    const number = (next < 0 ? "-" : "") + (full && fraction ? `${full} ${fraction}` : fraction || String(full));
    if (next <= 0 && value > 0 && least >= 0) return { text, parts: per };
    return { text: written(number), parts: per };
  }
  const places = (decimal.split(".")[1] || "").length, finer = Math.abs(by) < 1 ? 1 : 0;
  const unit = 10 ** -places;
  let value = way * Number(decimal) + by * unit;
  if (inUnit) value = Math.min(most, Math.max(least, value));
  const next = value.toFixed(places + finer);
  if (above && inUnit && Number(next) <= least) return { text, parts: 0 };
  return { text: written(Number(next) === 0 ? next.replace("-", "") : next), parts: 0 };
};

// --- one row ------------------------------------------------------------------------------------------------------------------

const fields = new Map(); // path -> { node, row, set(written, used), wrong(text), focus() }

// A control in its row, with label and meaning; `control` has { node, set, focus }, `label` may be another element than <label>.
const rowOf = (node, path, control, { wide = false, many = false, named = false } = {}) => {
  const id = idOf(path), meaning = node.meaning || "", short = named ? meaning : gist(meaning);
  const said = el("small", { class: named ? "sr" : "meaning", id: `${id}-means`, title: short === meaning ? null : meaning }, short);
  const alone = named && (path === node.key || path === "pattern.name") ? " sr" : ""; // the card is called so already
  const name = el(many ? "span" : "label", many ? { id: `${id}-name`, class: path === node.key ? "key sr" : "key" } : { for: id, class: `key${alone}` }, labelOf(node, path));
  const wrong = el("p", { class: "wrong", id: `${id}-wrong`, hidden: true });
  const row = el("div", { class: `field ${node.kind}${wide ? " wide" : ""}`, "data-path": path }, el("div", { class: "name" }, name, said), control.node, wrong);
  const inputs = [control.node, ...control.node.querySelectorAll("*")].filter((one) => one.matches("input, select, button.choice"));
  const lit = many ? control.node : inputs[0];
  if (many) { lit.setAttribute("role", "group"); lit.setAttribute("aria-labelledby", `${id}-name`); }
  const describe = (bad) => {
    lit.setAttribute("aria-describedby", bad ? `${id}-wrong ${id}-means` : `${id}-means`);
    for (const input of inputs) if (bad) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
  };
  describe(false);
  const field = {
    node, row, path,
    set: (written, used) => control.set(written, used === undefined ? node.default : used),
    wrong: (text) => {
      wrong.textContent = text || "";
      wrong.hidden = !text;
      row.classList.toggle("bad", Boolean(text));
      describe(Boolean(text));
    },
    focus: () => (inputs[0] || control.node).focus(),
  };
  fields.set(path, field);
  return row;
};

// --- the kinds ------------------------------------------------------------------------------------------------------------------

const line = (path, attributes = {}) => el("input", { type: "text", id: idOf(path), autocomplete: "off", autocapitalize: "off", spellcheck: "false", ...attributes });
const settle = (input, written) => { if (input.value.trim() !== (written || "")) input.value = written === undefined ? "" : written; };
const orNone = (text) => (text.trim() === "" ? null : text.trim());

const numberField = (node, path) => {
  const input = line(path, { inputmode: "text", class: "number" });
  let parts = 0;
  const by = (steps) => {
    const next = stepped(input.value.trim() || input.placeholder, steps, node, parts);
    if (!next) return;
    parts = next.parts;
    if (next.text === input.value) return;
    input.value = next.text;
    change(path, next.text);
  };
  input.addEventListener("input", () => { parts = 0; typed(); change(path, orNone(input.value)); });
  input.addEventListener("keydown", (event) => {
    const way = { ArrowUp: 1, ArrowDown: -1 }[event.key];
    if (!way || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    by(way * (event.shiftKey ? 10 : event.altKey ? 0.1 : 1));
  });
  const less = el("button", { type: "button", class: "nudge", tabindex: "-1", "aria-label": `less ${wordsOf(node.key)}` }, "−");
  const more = el("button", { type: "button", class: "nudge", tabindex: "-1", "aria-label": `more ${wordsOf(node.key)}` }, "+");
  less.addEventListener("click", () => by(-1));
  more.addEventListener("click", () => by(1));
  const set = (written, used) => {
    settle(input, written);
    input.placeholder = used || "";
  };
  return rowOf(node, path, { node: el("span", { class: "stepped" }, less, input, more), set });
};

const textField = (node, path) => {
  const input = line(path, { maxlength: node.most ? String(node.most) : null });
  input.addEventListener("input", () => { typed(); change(path, orNone(input.value)); });
  return rowOf(node, path, { node: input, set: (written, used) => { settle(input, written); input.placeholder = used || ""; } });
};

// One of a few words.  What is left out of the file is the first choice, and says what it comes to.
const optionsOf = (select, choices, written, used, required) => {
  const known = choices.some(([value]) => value === written);
  const shown = [...choices];
  if (written !== undefined && !known) shown.push([written, written]);
  const usual = (choices.find(([value]) => value === used) || [used, used])[1];
  if (!required || written === undefined) shown.unshift(["", used ? `usual: ${usual}` : required ? "choose one" : "none"]);
  const now = JSON.stringify(shown);
  if (select.dataset.shown !== now) {
    select.dataset.shown = now;
    select.replaceChildren(...shown.map(([value, title]) => el("option", { value }, title)));
  }
  select.value = written === undefined ? "" : written;
};

const choiceField = (node, path) => {
  const select = el("select", { id: idOf(path) });
  select.addEventListener("change", () => {
    if (path in WITH) suit(path, select.value);
    change(path, select.value || null);
  });
  const words = node.words.map((word) => [word, wordsOf(word)]);
  return rowOf(node, path, { node: select, set: (written, used) => optionsOf(select, words, written, used, node.required) });
};

const flagField = (node, path) => {
  const box = el("input", { type: "checkbox", id: idOf(path) });
  box.addEventListener("change", () => change(path, String(box.checked) === String(node.default || "false") ? null : String(box.checked)));
  return rowOf(node, path, { node: box, set: (written, used) => { box.checked = (written === undefined ? used : written) === "true"; } });
};

// A name from a list; where a record of one's own may stand there, its keys follow.
const OWN = "\u0000own";
const nameField = (node, path) => {
  const select = el("select", { id: idOf(path) }), own = el("div", { class: "own" });
  const known = () => (app.choices[node.of] || []);
  select.addEventListener("change", () => {
    if (select.value !== OWN) { change(path, select.value || null); return; }
    const like = known().find((one) => one.name === app.written[path]) || {};
    change(path, { ...newOf(node.fields), ...like.figures });
  });
  let built = false;
  const set = (written, used) => {
    const isOwn = written === undefined && Object.keys(app.written).some((key) => key.startsWith(`${path}.`));
    const choices = known().map(({ name, title }) => [name, title && title !== name ? title : name]);
    if (node.fields) choices.push([OWN, "measures of my own"]);
    optionsOf(select, choices, isOwn ? OWN : written, used, node.required);
    select.title = written || "";
    if (isOwn && !built) { own.append(...rowsOf(node.fields, path)); built = true; fillUnder(path); }
    if (!isOwn && built) { forget(path); own.replaceChildren(); built = false; }
    const { tint, note = "" } = known().find((one) => one.name === written) || {};
    swatch.hidden = !tint;
    if (tint) swatch.style.background = tint;
    if (remark.textContent !== note) remark.textContent = note;
  };
  const remark = el("small", { class: "remark" });
  const swatch = el("span", { class: "swatch", hidden: true, "aria-hidden": "true" });
  const row = rowOf(node, path, { node: el("div", {}, el("div", { class: "named" }, swatch, select), remark), set }, { wide: true, named: true });
  return node.fields ? el("div", {}, row, own) : row;
};
// A value to begin with where a key has to have one.
const firstOf = (field) => {
  if (field.default) return field.default;
  if (field.kind === "quantity") return /(?:for example|such as) (.+?)(?:,| or |$)/.exec(field.said)?.[1] || `1 ${field.unit}`;
  if (field.kind === "whole") return String(field.least || 1);
  if (field.kind === "choice") return field.words[0];
  if (field.kind === "flag") return "false";
  return field.key;
};
const newOf = (keys) => Object.fromEntries(keys.filter((key) => key.required).map((key) => [key.key, firstOf(key)]));
