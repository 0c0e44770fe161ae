// Data: the program's moves as typed arrays, and where the bit is at any moment; of a piece without a program there are none.
// Lengths are mm, times seconds; "piece" coordinates have their origin at the piece's centre, Z 0 at its top.

const COUNT = DATA.count;
const END = unpack(DATA.end, Float32Array);
const MOTION = unpack(DATA.motion, Int8Array);
const LINE = unpack(DATA.line, Int32Array);
const FEED = unpack(DATA.feed, Float32Array);
const RPM = unpack(DATA.rpm, Float32Array);
const START_S = unpack(DATA.start, Float64Array);
const TAKES_S = unpack(DATA.duration, Float64Array);
const PASS = unpack(DATA.pass, Int32Array);
const RISE = DATA.rise ? unpack(DATA.rise, Float32Array) : null; // how much higher than at the zero the top is at ends of moves
const TOTAL_S = DATA.total || 0;
const PROGRAM = DATA.program || [];
const [ZERO_X, ZERO_Y, TOP, TURN] = DATA.setup; // where X and Y are zero on the piece, Z of its top, degrees it lies turned
const COS = Math.cos((TURN * Math.PI) / 180), SIN = Math.sin((TURN * Math.PI) / 180);
const RAPID = 0;

const JUMPS = new Map(DATA.jumps || []);
const UNKNOWN = [NaN, NaN, NaN];
const startOf = (i) => {
  if (i === 0) return DATA.first || UNKNOWN;
  if (JUMPS.has(i)) return JUMPS.get(i) || UNKNOWN;
  return [END[3 * i - 3], END[3 * i - 2], END[3 * i - 1]];
};

const ARCS = new Map();
if (DATA.arcs) {
  const index = unpack(DATA.arcs.index, Int32Array);
  const axes = unpack(DATA.arcs.axes, Int8Array);
  const centre = unpack(DATA.arcs.centre, Float32Array);
  const sweep = unpack(DATA.arcs.sweep, Float32Array);
  for (let k = 0; k < index.length; k++) {
    ARCS.set(index[k], { u: axes[3 * k], v: axes[3 * k + 1], n: axes[3 * k + 2],
      cu: centre[2 * k], cv: centre[2 * k + 1], sweep: sweep[k] });
  }
}

// Place on move i after the share f of it, in work coordinates.
const along = (i, f) => {
  const a = startOf(i);
  const b = [END[3 * i], END[3 * i + 1], END[3 * i + 2]];
  if (f >= 1) return b;
  const arc = ARCS.get(i);
  if (!arc) return [a[0] + (b[0] - a[0]) * f, a[1] + (b[1] - a[1]) * f, a[2] + (b[2] - a[2]) * f];
  const turn = arc.sweep * f, c = Math.cos(turn), s = Math.sin(turn);
  const du = a[arc.u] - arc.cu, dv = a[arc.v] - arc.cv;
  const p = [0, 0, 0];
  p[arc.u] = arc.cu + du * c - dv * s;
  p[arc.v] = arc.cv + du * s + dv * c;
  p[arc.n] = a[arc.n] + (b[arc.n] - a[arc.n]) * f;
  return p;
};

// A place in work coordinates as one on the piece, and the way back.
const onPiece = ([x, y, z]) => [ZERO_X + x * COS + y * SIN, ZERO_Y + y * COS - x * SIN, z - TOP];
const inWork = (x, y) => [(x - ZERO_X) * COS - (y - ZERO_Y) * SIN, (x - ZERO_X) * SIN + (y - ZERO_Y) * COS];

// Into how many straight parts move i is split for drawing: chords within about 0.01 mm of the arc.
const partsOf = (i) => {
  const arc = ARCS.get(i);
  if (!arc) return 1;
  const a = startOf(i);
  const radius = Math.hypot(a[arc.u] - arc.cu, a[arc.v] - arc.cv);
  const step = 2 * Math.acos(Math.max(0, 1 - 0.01 / Math.max(radius, 0.02)));
  return Math.max(2, Math.ceil(Math.abs(arc.sweep) / step));
};

// How near move i comes to a place (x, y in work coordinates), and the share of it that is done there.
const nearest = (i, x, y) => {
  const parts = partsOf(i);
  let best = Infinity, share = 0, a = along(i, 0);
  for (let k = 1; k <= parts; k++) {
    const b = along(i, k / parts);
    const dx = b[0] - a[0], dy = b[1] - a[1], square = dx * dx + dy * dy;
    const f = square > 0 ? Math.max(0, Math.min(1, ((x - a[0]) * dx + (y - a[1]) * dy) / square)) : 1;
    const away = Math.hypot(x - a[0] - f * dx, y - a[1] - f * dy);
    if (away < best - 1e-6) { best = away; share = (k - 1 + f) / parts; }
    a = b;
  }
  return [best, share];
};

// The move under way at time t, and the share of it that is done.
const moveAt = (t) => {
  let low = 0, high = COUNT - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (START_S[middle] <= t) low = middle; else high = middle - 1;
  }
  if (COUNT === 0 || t < START_S[0]) return [0, 0];
  const takes = TAKES_S[low];
  const share = takes > 0 ? (t - START_S[low]) / takes : 1;
  return [low, share > 1 - 1e-9 ? 1 : share];
};

const PASS_FIRST = [];
for (let i = 0; i < COUNT; i++) if (PASS[i] === PASS_FIRST.length) PASS_FIRST.push(i);

// The first move made by a program line, or the last one before it.
const moveOfLine = (line) => {
  let best = -1;
  for (let i = 0; i < COUNT; i++) {
    if (LINE[i] > line) break;
    if (best < 0 || LINE[i] !== LINE[best]) best = i;
  }
  return best;
};

// As the running time is written beside: 42 s, 5 min 12 s, 1 h 05 min.
const readTime = (seconds) => {
  const s = Math.max(0, Math.round(seconds));
  const two = (v) => String(v).padStart(2, "0");
  const hours = Math.floor(s / 3600), minutes = Math.floor(s / 60) % 60;
  if (hours) return `${hours}\u00a0h\u00a0${two(minutes)}\u00a0min`;
  return minutes ? `${minutes}\u00a0min\u00a0${two(s % 60)}\u00a0s` : `${s}\u00a0s`;
};
