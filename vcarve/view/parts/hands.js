// Hands: what keys, buttons, mouse and fingers do, what is printed, and how a player begins and ends.

const ZOOM_KEYS = { "+": () => zoomBy(1.5), "-": () => zoomBy(1 / 1.5), 0: () => zoomTo(1, 0, 0) };
const KEYS = COUNT || !DATA.still ? {
  " ": () => play(!now.playing), ArrowRight: () => stepMove(1), ArrowLeft: () => stepMove(-1),
  ArrowUp: () => setSpeed(1), ArrowDown: () => setSpeed(-1),
  Home: () => seek(0), End: () => seek(TOTAL_S), "[": () => stepPass(-1), "]": () => stepPass(1),
  ...ZOOM_KEYS,
} : ZOOM_KEYS;
// Whoever types, chooses or scrolls elsewhere keeps their keys.
const TYPING = "input:not([type=range], [type=checkbox]), select, textarea, dialog, [data-keys=own]";
hear(window, "keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented || !KEYS[event.key]) return;
  const at = event.target instanceof Element ? event.target : root;
  if (at.closest(TYPING) || (event.key === " " && at.closest("button, summary, a, [type=checkbox]"))) return;
  event.preventDefault();
  KEYS[event.key]();
});

const BUTTONS = {
  play: () => play(!now.playing), "pass-back": () => stepPass(-1), "pass-on": () => stepPass(1),
  slower: () => setSpeed(-1), faster: () => setSpeed(1), theme: () => setTheme(root.dataset.theme !== "dark"),
  "zoom-in": () => zoomBy(1.5), "zoom-out": () => zoomBy(1 / 1.5), "zoom-all": () => zoomTo(1, 0, 0),
};
for (const id in BUTTONS) hear($(id), "click", BUTTONS[id]);
hear($("air"), "change", (event) => {
  if (!carver) return;
  carver.surface.showAir = event.target.checked;
  carver.surface.compose();
  ask();
});
hear(scrub, "input", () => seek(Number(scrub.value) * TOTAL_S));
document.querySelectorAll(".finding").forEach((button, k) => hear(button, "click", () => chooseNext(k)));

// A click on the piece goes to the moment when that place, or a groove within 10 px of it, is first reached.
const NEAR_PX = 10;
const reachedAt = (x, y) => {
  const at = inWork(x, y);
  let best = NEAR_PX / place.scale, moment = null;
  for (let i = 0; i < COUNT; i++) {
    if (PASS[i] < 0) continue;
    const [away, share] = nearest(i, ...at);
    if (away < best - 1e-6) { best = away; moment = START_S[i] + TAKES_S[i] * share; }
  }
  return moment;
};
const onStage = ({ clientX, clientY }) => {
  const box = $("stage").getBoundingClientRect();
  return [clientX - box.left, clientY - box.top];
};
hear(view, "click", (event) => {
  if (grip.dragged) return;
  const [x, y] = onStage(event), moment = reachedAt(place.mx(x), place.my(y));
  if (moment !== null) seek(moment);
});

// The wheel zooms about the pointer, two fingers do too, one finger or the mouse moves what is zoomed.
hear($("stage"), "wheel", (event) => {
  event.preventDefault();
  zoomBy(Math.exp(-event.deltaY * (event.deltaMode ? 0.04 : 0.0015)), ...onStage(event));
}, { passive: false });
// What fingers and mouse hold: the picture, a clamp, or the zero.  The next player goes on with it.
const grip = options.before ? options.before.grip : { held: new Map(), dragged: false, taken: null };
const middle = () => {
  const all = [...grip.held.values()], at = (k) => all.reduce((sum, p) => sum + p[k], 0) / all.length;
  return { x: at(0), y: at(1), wide: all.length > 1 ? Math.hypot(all[0][0] - all[1][0], all[0][1] - all[1][1]) : 0 };
};

// Where the page lets them, clamps are moved in steps that suit the zoom, and the zero from corner to corner.
const CLAMP_STEPS = DATA.figures.mm === 1 ? [1, 0.5, 0.1] : [0.1, 0.05, 0.01];
const clampAt = (k) => [CLAMPS[k][0] - LEFT, CLAMPS[k][1] - FRONT];
const ZEROS = { "front-left": [LEFT, FRONT], "front-right": [RIGHT, FRONT], "back-left": [LEFT, BACK], "back-right": [RIGHT, BACK], centre: PIECE.centre };
const zeroWord = () => {
  const away = ([x, y]) => Math.hypot(x - zeroAt[0], y - zeroAt[1]);
  return Object.keys(ZEROS).reduce((best, word) => (away(ZEROS[word]) < away(ZEROS[best]) ? word : best));
};
const MOVED = {
  clamp: {
    name: "onClampMoved",
    from: (k) => CLAMPS[k].slice(0, 2),
    to: (k, x, y) => {
      const step = CLAMP_STEPS[place.scale < 4 ? 0 : place.scale < 16 ? 1 : 2] * DATA.figures.mm, snap = (v) => Math.round(v / step) * step;
      CLAMPS[k].splice(0, 2, snap(x - LEFT) + LEFT, snap(y - FRONT) + FRONT);
    },
    back: (k, from) => CLAMPS[k].splice(0, 2, ...from),
    said: (k) => [k, ...clampAt(k)],
    label: (k) => [place.px(CLAMPS[k][0] + CLAMPS[k][2] / 2), place.py(CLAMPS[k][1]) + 18],
    words: (k) => `Clamp ${k + 1} at ${["X", "Y"].map((axis, i) => `${axis} ${trimmed(clampAt(k)[i])}`).join(", ")} ${DATA.figures.unit}`,
  },
  zero: {
    name: "onZeroMoved",
    from: () => [...zeroAt],
    to: (k, x, y) => {
      zeroAt = [x, y];
      zeroAt = ZEROS[zeroWord()];
    },
    back: (k, from) => { zeroAt = from; },
    said: () => [zeroWord()],
    label: () => [place.px(zeroAt[0]), place.py(zeroAt[1]) + (zeroAt[1] > PIECE.centre[1] ? 26 : -62)],
    words: () => `Zero at the ${zeroWord() === "centre" ? "centre" : `${zeroWord().replace("-", " ")} corner`}`,
  },
};
const trimmed = (mm) => lengthFigure(mm, 2).replace(/\.?0+$/, "");
const moveTaken = () => {
  const { what, k, from, at, now: [x, y] } = grip.taken;
  MOVED[what].to(k, from[0] + (x - at[0]) / place.scale, from[1] - (y - at[1]) / place.scale);
  settle();
  readOut();
};
hear($("over"), "pointerdown", (event) => {
  const held = event.target.closest("[data-moved]");
  if (!held || event.button > 0 || grip.taken) return;
  event.stopPropagation();
  event.preventDefault();
  const { moved: what, clamp } = held.dataset, at = onStage(event), k = Number(clamp);
  grip.taken = { what, k, id: event.pointerId, at, now: at, from: MOVED[what].from(k) };
});
hear(window, "pointermove", (event) => {
  if (!grip.taken || event.pointerId !== grip.taken.id) return;
  grip.taken.now = onStage(event);
  moveTaken();
  if (options.onWord) options.onWord(MOVED[grip.taken.what].words(grip.taken.k));
});
// Let go the page is told; a move that is given up goes back.
const drop = (back) => {
  const { what, k, from } = grip.taken, { name, said } = MOVED[what];
  grip.taken = null;
  const moved = MOVED[what].from(k).some((v, i) => Math.abs(v - from[i]) > 1e-9);
  if (back || !moved) MOVED[what].back(k, from);
  settle();
  readOut();
  if (moved && !back) options[name](...said(k));
};
hear(window, "pointerup pointercancel", (event) => {
  if (grip.taken && event.pointerId === grip.taken.id) drop(event.type === "pointercancel");
});
hear(window, "keydown", (event) => {
  if (!grip.taken || event.key !== "Escape") return;
  event.preventDefault();
  drop(true);
});
hear($("over"), "click", (event) => {
  const spot = event.target.closest(".spot");
  if (spot) choose(Number(spot.dataset.spot), Number(spot.dataset.nth));
});
hear($("stage"), "pointerdown", (event) => {
  grip.held.set(event.pointerId, onStage(event));
  if (grip.held.size === 1) grip.dragged = false;
});
hear(window, "pointermove", (event) => {
  if (!grip.held.has(event.pointerId)) return;
  const before = middle();
  grip.held.set(event.pointerId, onStage(event));
  const after = middle();
  if (grip.held.size > 1 && before.wide > 0) zoomBy(after.wide / before.wide, before.x, before.y);
  if (zoom.k > 1 && (grip.dragged || grip.held.size > 1 || Math.hypot(after.x - before.x, after.y - before.y) > 2)) {
    grip.dragged = true;
    zoomTo(zoom.k, zoom.x + after.x - before.x, zoom.y + after.y - before.y);
  }
});
hear(window, "pointerup pointercancel", (event) => grip.held.delete(event.pointerId));

// The picture on the bench sheet: the finished piece on pale wood, made when there is nothing else to do.
let print = null;
const printWork = (budget) => {
  const canvas = $("sheet-picture");
  if (!canvas) return true; // the sheet is gone
  if (!print) {
    print = new Carver(makeSurface(Math.min(1100 / Math.max(PIECE.width, PIECE.height), 24), [LEFT, FRONT, RIGHT, BACK], paintOf(true)));
    print.every = Infinity;
    print.surface.showAir = false;
    print.aim(COUNT, 0);
  }
  if (!print.work(budget)) return false;
  if (canvas.width !== print.surface.wide) {
    canvas.width = print.surface.wide; canvas.height = print.surface.tall;
    print.surface.touch(0, 0, print.surface.wide, print.surface.tall);
    const pen = canvas.getContext("2d"), { scale, left, top } = print.surface;
    print.surface.blit(pen);
    pen.strokeStyle = colour("--wood-ink");
    pen.lineWidth = 2;
    pen.stroke(new Path2D(ringsPath((x) => (x - left) * scale, (y) => (top - y) * scale)));
  }
  return true;
};
let resized = 0, idling = 0;
const idle = () => { if (!printWork(now.playing ? 2 : 6)) idling = setTimeout(idle, 24); };
if ($("sheet-picture")) {
  hear(window, "beforeprint", () => printWork(Infinity));
  idling = setTimeout(idle, 400);
}
hear(window, "resize", () => {
  clearTimeout(resized);
  resized = setTimeout(() => { zoomTo(zoom.k, zoom.x, zoom.y); arrange(); }, 120);
});
const stop = () => {
  life.abort();
  cancelAnimationFrame(asked);
  for (const timer of [rest, resized, idling, finer]) clearTimeout(timer);
};

const prefers = matchMedia("(prefers-color-scheme: dark)");
hear(prefers, "change", (event) => setTheme(event.matches));
setTheme(root.dataset.theme ? root.dataset.theme === "dark" : prefers.matches);
setSpeed(0);
root.dataset.state = "paused";
zoomTo(zoom.k, zoom.x, zoom.y);
if (grip.taken && grip.taken.what === "clamp" && !CLAMPS[grip.taken.k]) grip.taken = null;
arrange();
if (grip.taken) moveTaken();
const player = { stop, zoom, grip, how: setHow, choose, play, arrange };
