// Drawing: the bench drawing round the picture (outline, dimensions, zero, findings, bit) and the time strip.

const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const make = (name, attributes, parent, text) => {
  const node = document.createElementNS(SVG, name);
  for (const key in attributes) node.setAttribute(key, attributes[key]);
  if (text !== undefined) node.textContent = text;
  if (parent) parent.append(node);
  return node;
};
const figure = (value, decimals) => {
  const text = value.toFixed(decimals);
  return (Number(text) === 0 ? (0).toFixed(decimals) : text).replace("-", "−");
};
// A length (or feed) in mm as the page writes it, without its unit; the decimals are those of mm.
const lengthFigure = (value, decimals) => figure(value / DATA.figures.mm, decimals + DATA.figures.finer);

const PIECE = DATA.piece;
const BIT = makeBit(DATA.bit);
let DEEPEST = DATA.still ? DATA.still.deepest : 0.01;
for (let i = 0; i < COUNT; i++) {
  const depth = TOP - END[3 * i + 2];
  if (depth > DEEPEST) DEEPEST = depth;
}

// Findings of one sentence together, each with the place and the moment where the trouble begins.
const SPOTS = DATA.findings.map((group) => group.map(({ line, at }) => {
  const move = line === null ? -1 : moveOfLine(line);
  if (move < 0) return { line, move, place: at, moment: null };
  const runs = LINE[move] === line;
  const [away, share] = at ? nearest(move, ...inWork(...at)) : [0, runs ? 0 : 1];
  const begins = runs && away < 0.01 ? share : 0;
  let place = at;
  if (!place && runs) {
    const [x, y] = onPiece(along(move, begins));
    if (Number.isFinite(x + y)) place = [x, y];
  }
  return { line, move, place, moment: START_S[move] + begins * TAKES_S[move] };
}));

// The piece's sides in piece coordinates (mm), and how far clamps stand out of it: left, right, back, front.
const [LEFT, RIGHT] = [-0.5, 0.5].map((side) => PIECE.centre[0] + side * PIECE.width);
const [FRONT, BACK] = [-0.5, 0.5].map((side) => PIECE.centre[1] + side * PIECE.height);
const PAST = [0, 0, 0, 0];
let zeroAt = [ZERO_X, ZERO_Y];
const CLAMPS = DATA.clamps.map((clamp) => [...clamp]); // as they lie; one may be on its way
for (const [left, front, wide, high] of CLAMPS) {
  [LEFT - left, left + wide - RIGHT, front + high - BACK, FRONT - front].forEach((out, k) => { PAST[k] = Math.max(PAST[k], out); });
}

// Where the piece lies in the stage: css pixels, scale in px/mm; px, py from piece coordinates and mx, my back.
const layout = (stage, zoom) => {
  const narrow = matchMedia("(max-width: 820px)").matches;
  const pad = narrow ? { left: 34, right: 16, top: 18, bottom: 40 } : { left: 60, right: 30, top: 26, bottom: 54 };
  // The arrows of X and Y, with their letters, stand out of the piece where they lead away from zero beyond its side.
  if (PIECE.known) for (const [ax, ay] of [[48, 0], [0, 52]]) {
    const right = ax * COS + ay * SIN, up = ay * COS - ax * SIN;
    if (ZERO_X <= LEFT) pad.left = Math.max(pad.left, 12 - right);
    if (ZERO_X >= RIGHT) pad.right = Math.max(pad.right, 12 + right);
    if (ZERO_Y <= FRONT) pad.bottom = Math.max(pad.bottom, 12 - up);
    if (ZERO_Y >= BACK) pad.top = Math.max(pad.top, 12 + up);
  }
  const wide = stage.clientWidth;
  const broad = PIECE.width + PAST[0] + PAST[1], high = PIECE.height + PAST[2] + PAST[3]; // with its clamps
  let tall = stage.clientHeight;
  if (narrow) {
    tall = Math.min(innerHeight * 0.6, ((wide - pad.left - pad.right) * high) / broad + pad.top + pad.bottom);
    stage.style.height = `${Math.round(tall)}px`;
  } else stage.style.height = "";
  tall = stage.clientHeight;
  const fit = Math.max(0.01, Math.min((wide - pad.left - pad.right) / broad, (tall - pad.top - pad.bottom) / high));
  const scale = fit * zoom.k;
  const x = (pad.left + (wide - pad.left - pad.right - broad * fit) / 2 + PAST[0] * fit) * zoom.k + zoom.x;
  const y = (pad.top + (tall - pad.top - pad.bottom - high * fit) / 2 + PAST[2] * fit) * zoom.k + zoom.y;
  return {
    wide, tall, scale, x, y,
    mx: (sx) => (sx - x) / scale + LEFT,
    my: (sy) => BACK - (sy - y) / scale,
    px: (mx) => x + (mx - LEFT) * scale,
    py: (my) => y + (BACK - my) * scale,
  };
};

const ringsPath = (px, py) => PIECE.rings.map((ring) => "M" + ring.map(([x, y]) => `${px(x).toFixed(2)} ${py(y).toFixed(2)}`).join("L") + "Z").join("");

// A surface of a part of the piece's plane (left, front, right, back in mm); `ratio` is its scale in px/mm.  On the picture of a
// board it shows the piece as it leaves the mill.
const makeSurface = (ratio, [left, front, right, top], paint) => {
  const wide = Math.max(4, Math.round((right - left) * ratio));
  const tall = Math.max(4, Math.round((top - front) * ratio));
  const sheet = document.createElement("canvas");
  sheet.width = wide; sheet.height = tall;
  const pen = sheet.getContext("2d", { willReadFrequently: true });
  const px = (x) => (x - left) * ratio, py = (y) => (top - y) * ratio;
  pen.fill(new Path2D(ringsPath(px, py)), "evenodd");
  const mask = pen.getImageData(0, 0, wide, tall).data;
  if (paint.board) {
    pen.globalCompositeOperation = "source-in";
    const { sheet: board, width, height } = paint.board;
    pen.drawImage(board, px(-width / 2), py(height / 2), width * ratio, height * ratio);
  } else {
    const picture = pen.createImageData(wide, tall), data = picture.data;
    for (let row = 0, i = 0; row < tall; row++) {
      for (let column = 0; column < wide; column++, i += 4) {
        if (!mask[i + 3]) continue;
        const k = 1 + paint.grain * grain(left + column / ratio, top - row / ratio);
        for (let c = 0; c < 3; c++) data[i + c] = Math.min(255, paint.wood[c] * k);
        data[i + 3] = 255;
      }
    }
    pen.putImageData(picture, 0, 0);
    if (paint.line) hairlines(pen, px, py, paint.line, Math.max(1, paint.dot * 0.8));
  }
  const image = pen.getImageData(0, 0, wide, tall), { data } = image;
  const inside = new Uint8Array(wide * tall), base = new Uint8Array(3 * wide * tall);
  for (let i = 0, from = 0, to = 0; i < inside.length; i++, from += 4, to += 3) {
    base[to] = data[from]; base[to + 1] = data[from + 1]; base[to + 2] = data[from + 2];
    data[from + 3] = inside[i] = mask[from + 3];
  }
  return new Surface({ wide, tall, scale: ratio, left, top, bit: BIT, deepest: DEEPEST, base, inside, paint, image, finished: Boolean(paint.board) });
};

// What is still to be cut, as fine lines on the wood.
const hairlines = (pen, px, py, ink, width) => {
  pen.strokeStyle = ink;
  pen.globalAlpha = 0.5;
  pen.lineWidth = width;
  pen.beginPath();
  let count = 0;
  for (let i = 0; i < COUNT; i++) {
    if (PASS[i] < 0) continue;
    const parts = partsOf(i);
    let a = onPiece(along(i, 0));
    for (let k = 1; k <= parts; k++) {
      const b = onPiece(along(i, k / parts));
      if (a[0] !== b[0] || a[1] !== b[1]) {
        pen.moveTo(px(a[0]), py(a[1]));
        pen.lineTo(px(b[0]), py(b[1]));
        if (++count % 500 === 0) { pen.stroke(); pen.beginPath(); }
      }
      a = b;
    }
  }
  pen.stroke();
};

const arrowless = (x, y) => `M${x - 4} ${y + 4}l8 -8`; // the stroke across the end of a dimension

const drawAround = (place, under, over) => {
  under.replaceChildren();
  over.replaceChildren();
  for (const svg of [under, over]) svg.setAttribute("viewBox", `0 0 ${place.wide} ${place.tall}`);
  make("path", { class: "shadow", d: ringsPath((x) => place.px(x) + 2, (y) => place.py(y) + 3), "fill-rule": "evenodd" }, under);
  make("path", { class: "outline", d: ringsPath(place.px, place.py) }, over);
  const x0 = place.x, x1 = place.x + PIECE.width * place.scale, y0 = place.y, y1 = place.y + PIECE.height * place.scale;
  if (PIECE.known) {
    const down = y1 + PAST[3] * place.scale + 26, aside = x0 - PAST[0] * place.scale - 22;
    make("path", { class: "help", d: `M${x0} ${y1 + 8}V${down + 6}M${x1} ${y1 + 8}V${down + 6}M${x0 - 8} ${y0}H${aside - 6}M${x0 - 8} ${y1}H${aside - 6}` }, over);
    make("path", { class: "dim", d: `M${x0 - 5} ${down}H${x1 + 5}${arrowless(x0, down)}${arrowless(x1, down)}M${aside} ${y0 - 5}V${y1 + 5}${arrowless(aside, y0)}${arrowless(aside, y1)}` }, over);
    const words = (value) => `${Number(lengthFigure(value, 3))} ${DATA.figures.unit}`;
    make("text", { class: "figure back", x: (x0 + x1) / 2, y: down + 4, "text-anchor": "middle" }, over, words(PIECE.width));
    make("text", { class: "figure back", transform: `translate(${aside + 4} ${(y0 + y1) / 2}) rotate(-90)`, "text-anchor": "middle" }, over, words(PIECE.height));
  }
  CLAMPS.forEach(([left, front, wide, high], k) => {
    const free = options.onClampMoved ? { class: "clamp free", "data-moved": "clamp", "data-clamp": k } : { class: "clamp" };
    make("rect", { ...free, x: place.px(left), y: place.py(front + high), width: wide * place.scale, height: high * place.scale }, over);
    make("path", { class: "clamp", d: `M${place.px(left)} ${place.py(front)}L${place.px(left + wide)} ${place.py(front + high)}M${place.px(left)} ${place.py(front + high)}L${place.px(left + wide)} ${place.py(front)}` }, over);
  });
  if (PIECE.known) {
    const x = place.px(zeroAt[0]), y = place.py(zeroAt[1]);
    const free = options.onZeroMoved ? { class: "zero-mark free", "data-moved": "zero" } : { class: "zero-mark" };
    const g = make("g", { ...free, transform: `translate(${x} ${y}) rotate(${TURN})` }, over);
    make("path", { class: "axis back", d: "M0 0H38M0 0V-38" }, g);
    make("path", { class: "axis", d: "M0 0H38m-6 -3.5l6 3.5l-6 3.5M0 0V-38m-3.5 6l3.5 -6l3.5 6" }, g);
    make("circle", { r: 6.5, class: "spot-back" }, g);
    make("path", { class: "half", d: "M0 0V-6.5A6.5 6.5 0 0 1 6.5 0ZM0 0V6.5A6.5 6.5 0 0 1 -6.5 0Z" }, g);
    make("text", { x: 42, y: 4 }, g, "X");
    make("text", { x: 0, y: -43, "text-anchor": "middle" }, g, "Y");
    if (options.onZeroMoved) make("circle", { r: 15, class: "grasp" }, g);
  }
  const spots = SPOTS.map((group, k) => group.map(({ place: at }, nth) => {
    if (!at) return null;
    const g = make("g", { class: options.onFinding ? "spot free" : "spot", transform: `translate(${place.px(at[0])} ${place.py(at[1])})`, "data-spot": k, "data-nth": nth }, over);
    make("circle", { class: "halo", r: 22 }, g);
    make("path", { class: "cross", d: "M-32 0H-14M14 0H32M0 -32V-14M0 14V32" }, g);
    make("circle", { class: "dot", r: 9 }, g);
    make("text", { y: 4, "text-anchor": "middle" }, g, String(k + 1));
    return g;
  }));
  if (grip.taken) {
    const { what, k } = grip.taken, [x, y] = MOVED[what].label(k);
    const spot = { x: Math.max(100, Math.min(place.wide - 100, x)), y: Math.max(16, Math.min(place.tall - 8, y)) };
    make("text", { class: "figure back", ...spot, "text-anchor": "middle" }, over, MOVED[what].words(k));
  }
  const tool = make("g", { class: "tool" }, over);
  make("circle", { class: "ring back", r: 7 }, tool);
  make("circle", { class: "ring", r: 7 }, tool);
  make("path", { class: "hair back", d: "M-15 0H-4M4 0H15M0 -15V-4M0 4V15" }, tool);
  make("path", { class: "hair", d: "M-15 0H-4M4 0H15M0 -15V-4M0 4V15" }, tool);
  return { spots, tool };
};

// The strip under the piece: depth over time, passes as dips, moves in the air as dots above the surface line.
const makeStrip = (wide, tall, ratio) => {
  const columns = Math.max(1, Math.round(wide * ratio));
  const deep = new Float32Array(columns), air = new Uint8Array(columns);
  for (let i = 0; i < COUNT; i++) {
    const begins = (START_S[i] / TOTAL_S) * columns, takes = (TAKES_S[i] / TOTAL_S) * columns;
    const from = Math.floor(begins), to = Math.min(columns - 1, Math.floor(begins + takes));
    if (PASS[i] < 0) { air.fill(1, from, to + 1); continue; }
    let before = TOP - startOf(i)[2] || 0;
    for (let c = from; c <= to; c++) {
      const after = TOP - (c < to ? along(i, (c + 1 - begins) / takes)[2] : END[3 * i + 2]) || 0;
      deep[c] = Math.max(deep[c], before, after);
      before = after;
    }
  }
  return ["--indigo", "--to-come"].map((name) => {
    const sheet = document.createElement("canvas");
    sheet.width = columns; sheet.height = Math.round(tall * ratio);
    const pen = sheet.getContext("2d");
    const top = Math.round(16 * ratio), room = sheet.height - top - 2;
    pen.fillStyle = colour(name);
    for (let c = 0; c < columns; c++) if (deep[c] > 0) pen.fillRect(c, top, 1, Math.max(2, (deep[c] / DEEPEST) * room));
    pen.fillStyle = colour("--air");
    const dot = Math.max(1, Math.round(1.2 * ratio));
    for (let c = 0; c < columns; c += 3 * dot) if (air[c]) pen.fillRect(c, top - 6 * ratio, dot, dot);
    pen.fillStyle = colour("--ink-soft");
    pen.fillRect(0, top - 1, columns, 1);
    pen.fillStyle = colour("--finding");
    SPOTS.flat().forEach(({ moment }) => {
      if (moment === null) return;
      const x = (moment / TOTAL_S) * columns, s = 5 * ratio;
      pen.beginPath(); pen.moveTo(x - s, 0); pen.lineTo(x + s, 0); pen.lineTo(x, 1.6 * s); pen.fill();
    });
    return sheet;
  });
};
