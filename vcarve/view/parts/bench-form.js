// The form: cards of fields made from the records of a job, in the order in which a job is thought of.
//
// Which keys there are, their kinds, units and meanings the server tells; here is only how they are grouped, and which are most wanted.
// A key that is named nowhere here is shown like all others, under "more".

const CARDS = {
  job: [
  ["Pattern", ["pattern"]], ["Piece", ["piece", "units"]], ["Groove", ["groove"]], ["Bit", ["bit"]], ["Machine and speeds", ["machine", "feed"]],
  ["Zero", ["zero"]], ["Clamps", ["clamps"]], ["Plan", ["plan"]],
  ],
  panel: [
    ["Panel", ["panel", "units"]], ["Woods", ["woods"]], ["Tile", ["tile"]], ["Pattern", ["pattern"]], ["Groove", ["groove"]], ["Moisture", ["moisture"]],
    ["Tiles that differ", ["tiles"]], ["Boards or a jig", ["boards", "fixture"]], ["Bit", ["bit"]], ["Machine and speeds", ["machine", "feed"]], ["Zero", ["zero"]], ["Plan", ["plan"]],
  ],
};
const WANTED = new Set(["units", "pattern.name", "pattern.pitch", "pattern.margin", "pattern.edge", "groove.depth", "piece.outline.shape", "zero.xy", "zero.z", "feed.cut", "plan.recut", "clamps"]);
const FIRST = { // what a new item of a list starts as, where the keys' own examples would not do
  clamps: { x: "-14 mm", y: "10 mm", width: "12 mm", height: "22 mm", above: "4 mm" },
  "pattern.frame": { distance: "4 mm" },
};
const WITH = { "piece.outline.shape": { rounded: { radius: "8 mm" }, polygon: { sides: "6" } } }; // what a word needs beside it
const ELSEWHERE = new Set(["title"]); // has its place in the head

const app = { kind: "job", forms: {}, form: [], choices: {}, written: {}, used: {}, problems: [], look: null, plan: null };
const under = (path) => Object.keys(app.written).some((key) => key === path || key.startsWith(`${path}.`));
const forget = (path) => { for (const key of [...fields.keys()]) if (key.startsWith(`${path}.`)) fields.delete(key); };

// What stands beside a word goes with it: another takes other keys.
const suit = (path, word) => {
  const above = path.slice(0, path.lastIndexOf(".")), needs = WITH[path][word] || {};
  for (const key of Object.keys(app.written)) if (key.startsWith(`${above}.`) && key !== path && !(key.slice(above.length + 1) in needs)) change(key, null);
  for (const [key, value] of Object.entries(needs)) if (!under(`${above}.${key}`)) change(`${above}.${key}`, value);
};

const KINDS = {
  quantity: numberField, whole: numberField, text: textField, choice: choiceField, flag: flagField,
  name: (node, path) => (path === "pattern.name" ? patternField(node, path) : nameField(node, path)),
  section: (node, path) => el("div", { class: "section" }, ...rowsOf(node.fields, path)),
  grid: (node, path) => woodsField(node, path), list: (node, path) => listField(node, path), table: (node, path) => tableField(node, path),
};
const fieldOf = (node, path) => (KINDS[node.kind] || textField)(node, path);

// Fields in their order: those needed, written or wanted at once, the rest under "more".
const rowsOf = (nodes, path) => {
  const [shown, rest] = partsOf(nodes, path);
  return [...shown.map(([node, at]) => fieldOf(node, at)), moreOf(rest)];
};
const partsOf = (nodes, path) => {
  const shown = [], rest = [];
  for (const node of nodes) {
    const at = path ? `${path}.${node.key}` : node.key;
    if (node.kind === "section") { const [now, later] = partsOf(node.fields, at); shown.push(...now); rest.push(...later); }
    else (node.required || WANTED.has(at) || under(at) ? shown : rest).push([node, at]);
  }
  return [shown, rest];
};
const moreOf = (rest) => (rest.length ? el("details", { class: "more" }, el("summary", {}, "more ", el("small", {}, rest.map(([node]) => wordsOf(node.key)).join(", "))),
  ...rest.map(([node, at]) => fieldOf(node, at))) : null);

// --- lists and tables ---------------------------------------------------------------------------------------------------------------

const itemsOf = (path) => {
  const found = new Set();
  for (const key of Object.keys(app.written)) if (key.startsWith(`${path}.`)) found.add(key.slice(path.length + 1).split(".")[0]);
  return [...found];
};
const single = (path) => { const words = wordsOf(path.split(".").pop()); return words.endsWith("s") ? words.slice(0, -1) : words; };

const listField = (node, path) => {
  const items = el("div", { class: "items" }), word = single(path);
  const add = el("button", { type: "button", class: "word add" }, `Add a ${word}`);
  add.addEventListener("click", () => {
    const { kind, fields: keys } = node.item;
    change(`${path}.+`, kind === "section" ? FIRST[path] || newOf(keys) : firstOf(node.item));
  });
  let count = -1;
  const set = () => {
    const now = itemsOf(path).length;
    if (now === count) return;
    count = now;
    forget(path);
    items.replaceChildren(...Array.from({ length: now }, (_, k) => {
      const at = `${path}.${k}`, away = el("button", { type: "button", class: "word", "aria-label": `Take ${word} ${k + 1} out` }, "Take out");
      away.addEventListener("click", () => { change(at, null); add.focus(); });
      const body = node.item.kind === "section" ? node.item.fields.map((key) => fieldOf(key, `${at}.${key.key}`)) : [fieldOf({ ...node.item, key: word }, at)];
      return el("fieldset", { class: "item" }, el("legend", {}, `${word[0].toUpperCase()}${word.slice(1)} ${k + 1}`), away, ...body);
    }));
    fillUnder(path);
  };
  return rowOf(node, path, { node: el("div", { class: "list" }, items, add), set }, { wide: true, many: true });
};

const tableField = (node, path) => {
  const items = el("div", { class: "items" });
  const key = el("input", { type: "text", "aria-label": `name in ${wordsOf(node.key)}`, placeholder: "name" });
  const add = el("button", { type: "button", class: "word add" }, "Add");
  add.addEventListener("click", () => { if (key.value.trim()) { change(`${path}.${key.value.trim()}`, firstOf(node.item)); key.value = ""; } });
  let shown = null;
  const set = () => {
    const now = itemsOf(path), told = JSON.stringify(now);
    if (told === shown) return;
    shown = told;
    forget(path);
    items.replaceChildren(...now.map((name) => fieldOf({ ...node.item, key: name, meaning: node.item.meaning || "" }, `${path}.${name}`)));
    fillUnder(path);
  };
  return rowOf(node, path, { node: el("div", { class: "list" }, items, el("div", { class: "adding" }, key, add)), set }, { wide: true, many: true });
};

// --- the woods of a panel's tiles: chosen here, laid by pressing a tile -----------------------------------------------------------------

const woodsField = (node, path) => {
  const select = el("select", { id: idOf(path) });
  select.addEventListener("change", () => { app.wood = select.value; });
  const set = () => {
    const all = app.choices[node.of] || [];
    optionsOf(select, [["", "the next one in use"], ...all.map(({ name, title }) => [name, title || name])], app.wood || "", "", true);
  };
  const hint = el("small", { class: "remark" }, "Press a tile of the panel to lay it.");
  return rowOf({ ...node, key: "wood to lay" }, path, { node: el("div", {}, select, hint), set }, { wide: true });
};
const gridNow = () => {
  const grid = [];
  for (const [key, name] of Object.entries(app.written)) {
    const found = /^woods\.(\d+)\.(\d+)$/.exec(key);
    if (found) (grid[found[1]] ||= [])[found[2]] = name;
  }
  return grid;
};
const layWood = (path) => {
  const used = [...new Set(gridNow().flat())], now = app.written[path];
  change(path, app.wood || used[(used.indexOf(now) + 1) % used.length]);
};
// More rows and columns go on as those before them do: in turn.
const fitWoods = (columns, rows) => {
  const grid = gridNow(), of = (list, at) => list[at < list.length ? at : list.length - 1 - ((at - list.length + 1) % Math.min(2, list.length))];
  if (!grid.length || grid.some((row) => !row || row.includes(undefined))) return; // woods of one's own
  change("woods", Array.from({ length: rows }, (_, row) => Array.from({ length: columns }, (__, column) => of(of(grid, row), column))));
};

// --- the pattern: its picture opens all of them ------------------------------------------------------------------------------------

const patternField = (node, path) => {
  const picture = el("img", { alt: "", class: "thumb", width: 88, height: 66 }), title = el("b", {}), meaning = el("small", {});
  const button = el("button", { type: "button", class: "choice pattern", id: idOf(path), "aria-haspopup": "dialog" }, picture, el("span", {}, title, meaning));
  button.addEventListener("click", () => choosePattern(path, node));
  const set = (written) => {
    const one = (app.choices[node.of] || []).find(({ name }) => name === written);
    if (one && one.thumb) { picture.src = one.thumb; picture.hidden = false; } else picture.hidden = true;
    title.textContent = one ? one.title || one.name : written || "choose a pattern";
    meaning.textContent = one ? one.english || "" : written ? "a file of your own" : under("pattern.drawing") ? "a drawing is cut instead" : "";
  };
  return rowOf(node, path, { node: button, set }, { wide: true, named: true });
};

const FILTERS = ["family", "lattice"];
const choosePattern = (path, node) => {
  const dialog = $("patterns"), all = app.choices[node.of] || [], wanted = { family: "", lattice: "" };
  const count = el("p", { role: "status", class: "quiet" }), list = el("ul", { class: "patterns" }), search = el("input", { type: "text", id: "patterns-search", placeholder: "name or meaning", autocomplete: "off" });
  const cards = all.map((one) => {
    const button = el("button", { type: "button", "aria-pressed": String(app.written[path] === one.name) }, el("img", { src: one.thumb, alt: "", loading: "lazy", width: 132, height: 99 }),
      el("span", { class: "call" }, el("b", {}, one.title || one.name), one.kanji ? el("span", { lang: "ja" }, one.kanji) : null), el("small", {}, one.english || ""));
    if (one.note) button.title = one.note;
    button.addEventListener("click", () => {
      takePattern(one.name);
      dialog.close();
    });
    return [one, el("li", {}, button)];
  });
  const show = () => {
    let shown = 0;
    for (const [one, item] of cards) {
      const fits = FILTERS.every((of) => !wanted[of] || one[of] === wanted[of])
        && [one.name, one.title, one.english, one.kanji, one.note].join(" ").toLowerCase().includes(search.value.trim().toLowerCase());
      item.hidden = !fits;
      shown += fits;
    }
    count.textContent = shown === all.length ? `${shown} patterns` : `${shown} of ${all.length} patterns`;
  };
  const filters = FILTERS.map((of) => {
    const values = [...new Set(all.map((one) => one[of]).filter(Boolean))].sort();
    const select = el("select", { id: `patterns-${of}` }, el("option", { value: "" }, "all"), ...values.map((value) => el("option", { value }, wordsOf(value))));
    select.addEventListener("change", () => { wanted[of] = select.value; show(); });
    return el("label", {}, `${of} `, select);
  });
  search.addEventListener("input", show);
  const shut = el("button", { type: "button", class: "word" }, "Close");
  shut.addEventListener("click", () => dialog.close());
  const own = el("button", { type: "button", class: "word" }, "A file of my own …");
  own.addEventListener("click", () => { dialog.close(); $("picked").click(); });
  list.append(...cards.map(([, item]) => item));
  dialog.replaceChildren(el("header", {}, el("h2", { id: "patterns-head" }, "Patterns"), el("label", {}, "find ", search), ...filters, count, own, shut), list);
  show();
  dialog.showModal();
  const pressed = list.querySelector("[aria-pressed=true]");
  if (pressed) { pressed.focus(); pressed.scrollIntoView({ block: "center" }); } else search.focus();
};

// --- the cards -----------------------------------------------------------------------------------------------------------------------

const buildForm = () => {
  fields.clear();
  const byKey = new Map(app.form.map((node) => [node.key, node])), cards = [...CARDS[app.kind]];
  const others = app.form.map(({ key }) => key).filter((key) => !ELSEWHERE.has(key) && !cards.some(([, keys]) => keys.includes(key)));
  if (others.length) cards.push(["Further keys", others]);
  $("cards").replaceChildren(...cards.map(([title, keys]) => {
    const nodes = keys.map((key) => byKey.get(key)).filter(Boolean);
    if (!nodes.length) return "";
    const id = `card-${keys[0]}`;
    return el("section", { class: "card", id, "aria-labelledby": `${id}-head` }, el("h2", { id: `${id}-head` }, title), ...rowsOf(nodes, ""), el("div", { class: "facts", id: `${id}-facts` }));
  }).filter(Boolean));
  fillForm();
};

const fill = (field) => { if (!waits(field.path)) field.set(app.written[field.path], app.used[field.path]); };
const fillUnder = (path) => { for (const [key, field] of [...fields]) if (key.startsWith(`${path}.`)) fill(field); };
const fillForm = () => {
  for (const [key, field] of [...fields]) if (fields.get(key) === field) fill(field);
  const title = $("title");
  if (!waits("title")) settle(title, app.written.title);
};

// --- what is wrong, beside the number -----------------------------------------------------------------------------------------------

const CALM_MS = 450; // somebody who types is not interrupted
let lastTyped = 0, calm = 0;
const typed = () => { lastTyped = performance.now(); };

const placeOf = (path) => {
  for (let at = path; at; at = at.slice(0, Math.max(0, at.lastIndexOf(".")))) if (at === "title" || fields.has(at)) return at;
  return null;
};
const showProblems = () => {
  clearTimeout(calm);
  const wait = app.problems.length ? lastTyped + CALM_MS - performance.now() : 0;
  if (wait > 0) { calm = setTimeout(showProblems, wait); return; }
  const told = new Map(), homeless = [];
  for (const { path, want, line: at } of app.problems) {
    const where = placeOf(path || "") || firstUnder(path || "");
    if (where === null) homeless.push(`${path || "the file"}${at ? `, line ${at}` : ""}: ${want}`);
    else told.set(where, [...(told.get(where) || []), want]);
  }
  for (const [path, field] of fields) {
    const wants = told.get(path);
    field.wrong(wants ? wants.join(" ") : "");
    if (wants) for (let box = field.row.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
  }
  const title = told.get("title");
  $("title-wrong").textContent = title ? title.join(" ") : "";
  if (title) $("title").setAttribute("aria-invalid", "true"); else $("title").removeAttribute("aria-invalid");
  notice("problems", homeless.join("  "), ["Change the text", editText]);
  const bad = document.activeElement && document.activeElement.closest(".field.bad");
  if (bad) bad.scrollIntoView({ block: "nearest" }); // with what is said below it
  $("stale").hidden = app.problems.length === 0;
  $("shown").classList.toggle("old", app.problems.length > 0);
  showVerdict();
};
// Of a section that has no field of its own, the first field in it.
const firstUnder = (path) => [...fields.keys()].find((key) => path !== "" && key.startsWith(`${path}.`)) || null;
const firstWrong = () => [...fields.values()].find((field) => field.row.classList.contains("bad"));
