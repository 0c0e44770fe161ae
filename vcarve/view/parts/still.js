// The still: the finished piece painted at once from the grooves that the job asks for, before any program has cut them.
// Lengths are mm in piece coordinates: their origin is the piece's centre, Y points to the back.

const unpack = (text, Kind) => {
  if (Uint8Array.fromBase64) return new Kind(Uint8Array.fromBase64(text || "").buffer);
  const raw = atob(text || "");
  const bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  return new Kind(bytes.buffer);
};
const hex = (text) => [1, 3, 5].map((k) => parseInt(text.slice(k, k + 2), 16));
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

const AMBIENT = 0.1; // what reaches a wall that faces away
const BRIGHTEST = 1.2; // light on a wall that faces it, as a share of that on the flat top
const GRAIN = 0.14; // how far its streaks make wood lighter and darker
const SUNK = 0.55; // how far the deepest bottom darkens towards the valley
// How much light a wall shows that gets this share of the light on the flat top.
const shown = (light) => Math.min(1, (AMBIENT + (1 - AMBIENT) * light) / BRIGHTEST);
// A wall in the wood's own tint: in full shade, in full light and deep down.
const bareWalls = (tint) => ({ shade: tint.map((v) => v * 0.3), lit: tint.map((v) => v * 1.08), valley: tint.map((v) => v * 0.34) });
const blend = (one, other, share) => one.map((v, k) => v + (other[k] - v) * share);
const inked = (rgb) => "#" + rgb.map((v) => Math.max(0, Math.min(255, Math.round(v))).toString(16).padStart(2, "0")).join("");

// Wood seen from above: streaks along X, faint, the same for the same place.
const grain = (x, y) => {
  const hash = (n) => { const s = Math.sin(n * 127.1) * 43758.5453; return s - Math.floor(s); };
  const noise = (v) => { const k = Math.floor(v), f = v - k, e = f * f * (3 - 2 * f); return hash(k) * (1 - e) + hash(k + 1) * e; };
  const bend = 1.6 * noise(x * 0.018 + 3.1) + 0.5 * noise(x * 0.06 + 9.7);
  return 0.55 * noise((y + bend * 3) * 0.55) + 0.3 * noise((y + bend * 2) * 1.9 + 40) + 0.15 * noise(y * 6.1 + x * 0.05 + 80) - 0.5;
};

// A board that a piece is sawn from, its middle where the piece's is, as a picture that is fine across the grain and coarse along it.
// Boards come in a few sizes, and the last ones are kept: to change a piece by a little takes no new one.
const BOARD_MM = 60;
const boards = new Map();
const boardOf = (piece, tint, strength) => {
  const [width, height] = [piece.width, piece.height].map((size) => Math.ceil(size / BOARD_MM) * BOARD_MM);
  const key = [width, height, tint, strength].join();
  if (boards.has(key)) return boards.get(key);
  const wide = Math.max(16, Math.min(128, Math.round(width))), tall = Math.max(64, Math.min(900, Math.round(height * 5)));
  const sheet = document.createElement("canvas");
  sheet.width = wide; sheet.height = tall;
  const pen = sheet.getContext("2d"), picture = pen.createImageData(wide, tall), data = picture.data;
  for (let row = 0, i = 0; row < tall; row++) for (let column = 0; column < wide; column++, i += 4) {
    const k = 1 + strength * grain(((column + 0.5) / wide - 0.5) * width, (0.5 - (row + 0.5) / tall) * height);
    for (let c = 0; c < 3; c++) data[i + c] = Math.min(255, tint[c] * k);
    data[i + 3] = 255;
  }
  pen.putImageData(picture, 0, 0);
  if (boards.size > 5) boards.delete(boards.keys().next().value);
  boards.set(key, { sheet, width, height });
  return boards.get(key);
};

// The paths of a still, made once for all sizes it is painted at, and for a program that comes later.  What is filled closes by itself: to close it takes long.
const stills = new WeakMap();
const stillOf = (DATA) => {
  const { still, piece } = DATA;
  if (stills.has(still)) return stills.get(still);
  const outline = new Path2D();
  for (const ring of piece.rings) {
    ring.forEach(([x, y], k) => (k ? outline.lineTo(x, y) : outline.moveTo(x, y)));
    outline.closePath();
  }
  const lines = unpack(still.lines, Float32Array), slim = unpack(still.slim, Float32Array);
  const corners = unpack(still.walls, Float32Array);
  let at = 0;
  const kinds = still.grooves.map(([depth, half, many]) => {
    const path = new Path2D(), until = at + 5 * many;
    let x, y;
    for (; at < until; at += 5) {
      const ax = lines[at], ay = lines[at + 1], bx = lines[at + 2], by = lines[at + 3], bulge = lines[at + 4];
      if (ax !== x || ay !== y) path.moveTo(ax, ay);
      if (bulge) {
        const lean = (1 - bulge * bulge) / (4 * bulge), cx = (ax + bx) / 2 - (by - ay) * lean, cy = (ay + by) / 2 + (bx - ax) * lean;
        path.arc(cx, cy, Math.hypot(ax - cx, ay - cy), Math.atan2(ay - cy, ax - cx), Math.atan2(by - cy, bx - cx), bulge < 0);
      } else path.lineTo(bx, by);
      x = bx; y = by;
    }
    return { depth, half, path };
  });
  at = 0;
  const walls = still.tones.map(([light, many]) => {
    const path = new Path2D(), until = at + 12 * many;
    for (; at < until; at += 12) {
      path.moveTo(corners[at], corners[at + 1]);
      for (let k = at + 2; k < at + 12; k += 2) {
        if (corners[k] !== corners[k - 2] || corners[k + 1] !== corners[k - 1]) path.lineTo(corners[k], corners[k + 1]);
      }
    }
    return { light, path };
  });
  const widest = slim.reduce((most, v, k) => (k % 7 === 4 || k % 7 === 5 ? Math.max(most, v) : most), Math.max(0, ...kinds.map(({ half }) => half)));
  const made = { deepest: still.deepest, tip: still.tip, widest, kinds, slim, walls, lines, outline };
  stills.set(still, made);
  return made;
};

// All its grooves as straight cuts: place and depth of both ends.
const stillChords = (DATA) => {
  const { lines, slim, tip } = stillOf(DATA), slope = Math.tan((DATA.bit.angle * Math.PI) / 360), chords = [];
  let at = 0;
  for (const [depth, , many] of DATA.still.grooves) for (const until = at + 5 * many; at < until; at += 5) {
    const [ax, ay, bx, by, bulge] = lines.subarray(at, at + 5);
    const sweep = 4 * Math.atan(bulge), lean = bulge ? (1 - bulge * bulge) / (4 * bulge) : 0;
    const cx = (ax + bx) / 2 - (by - ay) * lean, cy = (ay + by) / 2 + (bx - ax) * lean, radius = Math.hypot(ax - cx, ay - cy);
    const parts = bulge ? Math.ceil(Math.abs(sweep) / (2 * Math.acos(Math.max(0, 1 - 0.01 / Math.max(radius, 0.02))))) : 1;
    let x = ax, y = ay;
    for (let k = 1; k <= parts; k++) {
      const c = Math.cos((sweep * k) / parts), s = Math.sin((sweep * k) / parts);
      const [tx, ty] = k === parts ? [bx, by] : [cx + (ax - cx) * c - (ay - cy) * s, cy + (ax - cx) * s + (ay - cy) * c];
      chords.push([x, y, depth, tx, ty, depth]);
      [x, y] = [tx, ty];
    }
  }
  const deep = (half) => Math.max(0, (half - tip / 2) / slope);
  for (let k = 0; k < slim.length; k += 7) {
    const [ax, ay, bx, by, from, to] = slim.subarray(k, k + 6);
    chords.push([ax, ay, deep(from), bx, by, deep(to)]);
  }
  return chords;
};

// What grooves that narrow cover, with round ends; or where they are deeper than some, by which they are `less` wide on either side.
const slimPath = (slim, flat = 0, less = 0) => {
  const path = new Path2D();
  for (let k = 0; k < slim.length; k += 7) {
    let ax = slim[k], ay = slim[k + 1], bx = slim[k + 2], by = slim[k + 3], from = slim[k + 4] - less, to = slim[k + 5] - less;
    if (from <= flat && to <= flat) continue;
    const share = (flat - from) / (to - from), x = ax + share * (bx - ax), y = ay + share * (by - ay); // where it is just so deep
    if (from < flat) [ax, ay, from] = [x, y, flat];
    if (to < flat) [bx, by, to] = [x, y, flat];
    const long = Math.max(1e-9, Math.hypot(bx - ax, by - ay)), along = Math.atan2(by - ay, bx - ax);
    const rise = Math.acos(Math.max(-0.95, Math.min(0.95, (from - to) / long)));
    path.moveTo(ax + from * Math.cos(along + rise), ay + from * Math.sin(along + rise));
    path.arc(ax, ay, from, along + rise, along - rise, false);
    path.arc(bx, by, to, along - rise, along + rise, false);
  }
  return path;
};

// Paint the finished piece as "wood" or as "lines"; `scale` is px/mm, `left` and `top` the place at the canvas's upper left corner.
const paintPiece = (canvas, DATA, how, { scale, left, top }) => {
  const pen = canvas.getContext("2d"), { deepest, widest, kinds, slim, walls, outline } = stillOf(DATA);
  const { piece } = DATA, tint = hex(piece.tint);
  const wood = how === "lines" ? blend(tint, hex(colour("--wood-paper")), 0.62) : tint;
  const stroke = (path, half, ink, round = half * scale > 3) => { // ends of narrow ones are not seen, and dear
    Object.assign(pen, { strokeStyle: ink, lineWidth: 2 * half, lineCap: round ? "round" : "butt", lineJoin: round ? "round" : "bevel" });
    pen.stroke(path);
  };
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.clearRect(0, 0, canvas.width, canvas.height);
  pen.save();
  pen.setTransform(scale, 0, 0, -scale, -left * scale, top * scale);
  pen.clip(outline, "evenodd");
  pen.save();
  pen.scale(1, -1);
  const board = boardOf(piece, wood, how === "lines" ? 0.05 : GRAIN);
  pen.drawImage(board.sheet, -board.width / 2, -board.height / 2, board.width, board.height);
  pen.restore();
  if (how === "lines") {
    const [light, deep] = [hex(colour("--cut-shallow")), hex(colour("--cut-deep"))];
    const ink = (depth) => inked(blend(light, deep, depth / deepest));
    for (const { depth, half, path } of kinds) stroke(path, half, ink(depth), half * scale > 0.6);
    if (slim.length) { pen.fillStyle = ink(deepest); pen.fill(slimPath(slim)); }
  } else {
    const { shade, lit } = bareWalls(tint), ink = (light) => inked(blend(shade, lit, shown(light)));
    for (const { half, path } of kinds) stroke(path, half, ink(0.7), !walls.length);
    if (slim.length) { pen.fillStyle = ink(0.7); pen.fill(slimPath(slim)); }
    // What shows through where two soft edges meet is hardly seen when they are filled twice, as wide walls are.
    const times = widest * scale > 5 ? 2 : 1;
    for (const { light, path } of walls) { pen.fillStyle = ink(light); for (let k = 0; k < times; k++) pen.fill(path); }
    darken(pen, stroke, DATA, scale);
  }
  pen.restore();
};

// Deeper is darker: contours of equal depth, laid over the walls one in another; faint where grooves are fine.
const darken = (pen, stroke, DATA, scale) => {
  const { deepest, tip, widest, kinds, slim } = stillOf(DATA), slope = Math.tan((DATA.bit.angle * Math.PI) / 360);
  const seen = widest * scale, steps = Math.max(2, Math.min(20, Math.round(seen / 2)));
  if (seen < 0.7) return;
  const sunk = SUNK * Math.min(1, 0.5 + seen / 12), ink = inked(bareWalls(hex(DATA.piece.tint)).valley);
  let before = 0;
  for (let step = 1; step <= steps; step++) {
    const deep = ((step - 0.5) / steps) * deepest, dark = sunk * (step / steps) ** 2;
    pen.globalAlpha = 1 - (1 - dark) / (1 - before);
    before = dark;
    for (const { depth, half, path } of kinds) if (depth > deep) stroke(path, Math.max(half - deep * slope, 0.01), ink);
    if (slim.length) { pen.fillStyle = ink; pen.fill(slimPath(slim, tip / 2, deep * slope)); }
  }
  pen.globalAlpha = 1;
};

// Paint the finished piece with its outline, as large as the canvas has room for it.  With the `sight` of a player it is no larger
// than there, so that two pieces can be compared; or the same part of it where that is zoomed.
const paintStill = (canvas, DATA, how, sight) => {
  const ratio = Math.min(2, devicePixelRatio || 1), { width, height } = DATA.piece;
  canvas.width = Math.max(4, Math.round(canvas.clientWidth * ratio)); canvas.height = Math.max(4, Math.round(canvas.clientHeight * ratio));
  const edge = 3 * ratio, whole = Math.min((canvas.width - 2 * edge) / width, (canvas.height - 2 * edge) / height);
  const zoomed = sight && sight.zoom > 1, scale = zoomed ? ratio * sight.scale : Math.min(whole, sight ? ratio * sight.scale : Infinity);
  const [x, y] = zoomed ? sight.middle : [0, 0];
  const place = { scale, left: x - canvas.width / scale / 2, top: y + canvas.height / scale / 2 };
  paintPiece(canvas, DATA, how, place);
  const pen = canvas.getContext("2d");
  pen.setTransform(scale, 0, 0, -scale, -place.left * scale, place.top * scale);
  pen.strokeStyle = colour("--ink");
  pen.lineWidth = ratio / scale;
  pen.stroke(stillOf(DATA).outline);
};
