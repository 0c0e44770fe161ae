// Player: one clock that the picture, the read-outs and the strip follow.
//
// options: `how` the piece is shown, "run" (as it is cut, what there is without options), "wood" or "lines"; `before`, the player whose
// place this one takes, zoomed as it was and in whatever is being dragged; and who is told: onHow(how) when playing changes it,
// onFinding(k, nth) when a place is chosen (-1: none), onClampMoved(index, x, y) in mm from the piece's front left corner,
// onZeroMoved(word), onWord(text) what to say while something is moved, onSight({scale in px/mm, zoom, middle in mm}) where what is
// seen of the piece has changed.
if (options.before) options.before.stop();

const SPEEDS = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000];
const AROUND = 3; // program lines shown before and after the one being run
const SLICE_MS = 8; // carving per frame

const root = document.documentElement;
const view = $("view"), scrub = $("scrub"), strip = $("strip");
const paper = view.getContext("2d");
const now = { t: 0, playing: false, speed: SPEEDS.findIndex((s) => TOTAL_S / s <= 45), line: -1, chosen: -1, nth: 0 };
if (now.speed < 0) now.speed = SPEEDS.length - 1;
let place, marks, carver, pane, strips, written = {}, last = 0, asked = 0, told = 0, waiting = 0, fresh = false;
let how = options.how || "run";
// Without a program, and where it is wished for, the finished piece is shown; null while the program's own work is.
const still = () => (!DATA.still || (how === "run" && COUNT) ? null : how === "run" ? "wood" : how);

// Every listener ends with the player.
const life = new AbortController();
const hear = (target, names, act, more) => {
  if (target) for (const name of names.split(" ")) target.addEventListener(name, act, { ...more, signal: life.signal });
};

const write = (id, text, value) => {
  if (written[id] === text) return;
  written[id] = text;
  const node = $(id);
  if (!node) return;
  node.textContent = text;
  if (value !== undefined) node.dataset.value = value;
};

const paintOf = (print) => {
  const ratio = Math.min(2, devicePixelRatio || 1);
  const tint = hex(PIECE.tint);
  const walls = { shade: hex(colour("--shade")), lit: hex(colour("--lit")), valley: hex(colour("--valley")), bare: bareWalls(tint) };
  const dark = 0.3 * tint[0] + 0.59 * tint[1] + 0.11 * tint[2] < 110; // fine lines have to stand out from any wood
  const pale = (of, share) => of.map((v) => 255 - (255 - v) * share); // ink is dear
  if (print) return { shade: pale(walls.shade, 0.7), lit: pale(walls.lit, 0.4), valley: pale(walls.valley, 0.8), wood: tint.map(() => 255), air: hex(colour("--wood-air")), grain: 0.02, dot: 1, gap: 8, line: null };
  return { ...walls, wood: tint, air: hex(colour(dark ? "--wood-air-pale" : "--wood-air")), grain: GRAIN, dot: Math.max(1, Math.round(1.2 * ratio)), gap: Math.round(5 * ratio), line: colour(dark ? "--lit" : "--wood-line") };
};

// Put the picture where the piece is now; it keeps its own pixels until it is made anew for this zoom.
const settle = () => {
  place = layout($("stage"), zoom);
  const { scale, left, top, wide, tall } = pane, k = place.scale / scale;
  Object.assign(view.style, { left: `${place.px(left)}px`, top: `${place.py(top)}px`, width: `${wide * k}px`, height: `${tall * k}px` });
  marks = drawAround(place, $("under"), $("over"));
  showChosen();
};

const arrange = () => {
  place = layout($("stage"), zoom);
  // Of the piece and a little round it, what the stage shows.
  const margin = 14 / place.scale;
  const side = (low, high, from, to) => [Math.max(low - margin, from), Math.min(high + margin, to)];
  const [x0, x1] = side(LEFT, RIGHT, place.mx(0), place.mx(place.wide));
  const [y0, y1] = side(FRONT, BACK, place.my(place.tall), place.my(0));
  const most = still() ? 4e6 : 1.7e6; // pixels
  const ratio = Math.min(2, devicePixelRatio || 1, Math.sqrt(most / ((x1 - x0) * (y1 - y0) * place.scale ** 2)));
  if (still()) paintStage(place.scale * ratio, [x0, y0, x1, y1]); else carveStage(place.scale * ratio, [x0, y0, x1, y1]);
  settle();
  if (COUNT && strip) {
    const box = strip.parentElement, sharp = Math.min(2, devicePixelRatio || 1);
    strip.width = Math.round(box.clientWidth * sharp); strip.height = Math.round(box.clientHeight * sharp);
    strips = makeStrip(box.clientWidth, box.clientHeight, sharp);
  }
  if (options.onSight) options.onSight({ scale: place.scale, zoom: zoom.k, middle: [place.mx(place.wide / 2), place.my(place.tall / 2)] });
  ask();
};

const paintStage = (scale, [left, front, right, top]) => {
  const wide = Math.max(4, Math.round((right - left) * scale)), tall = Math.max(4, Math.round((top - front) * scale));
  if (view.width !== wide || view.height !== tall) { view.width = wide; view.height = tall; }
  pane = { scale, left, top, wide, tall };
  carver = null;
  paintPiece(view, DATA, still(), pane);
  clearTimeout(finer);
  view.dataset.still = "quick";
  if (still() === "wood") finer = setTimeout(refine, REST_MS);
};

// Polygons are wrong in narrow corners: when nothing has changed for a while the lines are carved as a program's are.
const REST_MS = 600;
let finer = 0;
const refine = () => {
  const { scale, left, top, wide, tall } = pane, chords = stillChords(DATA);
  const paint = { ...paintOf(false), board: boardOf(PIECE, hex(PIECE.tint), GRAIN) };
  const surface = makeSurface(scale, [left, top - tall / scale, left + wide / scale, top], paint);
  let at = 0;
  const work = () => {
    const until = performance.now() + SLICE_MS;
    while (at < chords.length && performance.now() < until) for (const end = Math.min(chords.length, at + 40); at < end; at++) surface.cut(...chords[at]);
    if (at < chords.length) finer = setTimeout(work, 0);
    else {
      surface.blit(paper);
      view.dataset.still = "exact";
    }
  };
  finer = setTimeout(work, 0);
};

const carveStage = (scale, part) => {
  const surface = makeSurface(scale, part, paintOf(false));
  surface.showAir = !$("air") || $("air").checked;
  const before = carver && carver.surface, was = document.createElement("canvas");
  was.width = view.width; was.height = view.height;
  was.getContext("2d").drawImage(view, 0, 0);
  view.width = surface.wide; view.height = surface.tall;
  if (before) {
    const k = surface.scale / before.scale;
    paper.drawImage(was, (before.left - surface.left) * surface.scale, (surface.top - before.top) * surface.scale, was.width * k, was.height * k);
  }
  carver = new Carver(surface);
  clearTimeout(finer);
  pane = surface;
  fresh = before !== null && before !== undefined;
};

// Show the piece otherwise: "run", "wood" or "lines".
const setHow = (word) => {
  if (word === how) return;
  const before = still();
  how = word;
  if (how !== "run" && now.playing) play(false);
  if (before !== still()) arrange();
};
// Whoever plays wants to see the program's own work.
const showRun = () => {
  if (!COUNT || how === "run") return;
  setHow("run");
  if (options.onHow) options.onHow(how);
};

// Zoom: what the stage shows of its own picture, k times as large, moved by x and y pixels.
const MOST_ZOOM = 40;
const zoom = { k: 1, x: 0, y: 0, ...(options.before && options.before.zoom) };
let rest = 0;
const zoomTo = (k, x, y) => {
  const stage = $("stage");
  zoom.k = Math.max(1, Math.min(MOST_ZOOM, k));
  zoom.x = Math.max(stage.clientWidth * (1 - zoom.k), Math.min(0, x));
  zoom.y = Math.max(stage.clientHeight * (1 - zoom.k), Math.min(0, y));
  stage.dataset.zoom = zoom.k.toFixed(2);
  if ($("zoom-all")) $("zoom-all").textContent = `${Math.round(100 * zoom.k)}\u00a0%`;
  if (!pane) return;
  settle();
  readOut();
  clearTimeout(rest);
  rest = setTimeout(arrange, 140);
};
// By a factor, about a place on the stage that stays where it is.
const zoomBy = (factor, x = $("stage").clientWidth / 2, y = $("stage").clientHeight / 2) => {
  const f = Math.max(1, Math.min(MOST_ZOOM, zoom.k * factor)) / zoom.k;
  zoomTo(zoom.k * f, x + (zoom.x - x) * f, y + (zoom.y - y) * f);
};

const showProgram = (line, marked) => {
  write("read-text", `${line} ${PROGRAM[line - 1] || ""}`);
  const list = $("program");
  if (!list) return;
  const first = Math.max(1, Math.min(line - AROUND, PROGRAM.length - 2 * AROUND));
  for (let k = 0; k <= 2 * AROUND; k++) {
    const item = list.children[k] || list.appendChild(document.createElement("li"));
    const number = first + k;
    const known = number <= PROGRAM.length;
    item.textContent = known ? PROGRAM[number - 1] || " " : "";
    item.dataset.line = known ? number : "";
    if (number === line) item.setAttribute("aria-current", "step"); else item.removeAttribute("aria-current");
    item.classList.toggle("marked", number === marked);
  }
};

const readOut = () => {
  const [i, f] = moveAt(now.t);
  const p = COUNT ? along(i, f) : [0, 0, 0];
  const risen = RISE ? (i ? RISE[i - 1] : 0) * (1 - f) + RISE[i] * f : 0; // the piece is drawn flat
  ["x", "y", "z"].forEach((axis, k) => {
    const value = k === 2 ? p[k] + risen : p[k], known = Number.isFinite(value);
    write(`read-${axis}`, known ? lengthFigure(value, 3) : "–", known ? value : "");
  });
  const depth = TOP - p[2];
  write("read-depth", Number.isFinite(depth) ? lengthFigure(Math.max(0, depth), 3) : "–", Number.isFinite(depth) ? Math.max(0, depth) : "");
  const rapid = COUNT === 0 || MOTION[i] === RAPID;
  write("read-feed", rapid ? "rapid" : `${Number(lengthFigure(FEED[i], 1))} ${DATA.figures.unit}/min`, rapid ? "" : FEED[i]);
  write("read-rpm", COUNT ? figure(RPM[i], 0) : "0", COUNT ? RPM[i] : 0);
  const pass = COUNT ? PASS[i] + 1 : 0;
  write("read-pass", pass ? `${pass} of ${PASS_FIRST.length}` : "in the air", pass);
  write("read-elapsed", readTime(now.t));
  write("read-remaining", readTime(TOTAL_S - now.t));
  if ($("read-elapsed")) $("read-elapsed").dataset.value = now.t; // moves on while its text stands
  if ($("read-remaining")) $("read-remaining").dataset.value = TOTAL_S - now.t;
  const spot = now.chosen >= 0 ? SPOTS[now.chosen][now.nth] : null;
  const shown = spot && spot.line !== null ? spot.line : COUNT ? LINE[i] : 1;
  write("read-line", `${shown} of ${PROGRAM.length}`, shown);
  if ($("read-line")) $("read-line").dataset.move = i;
  if (shown !== now.line) { now.line = shown; showProgram(shown, now.chosen >= 0 ? shown : -1); }
  const tool = marks.tool;
  if (!still() && Number.isFinite(p[0] + p[1])) {
    const [x, y] = onPiece(p);
    const reach = depth > 0 ? Math.max(5, BIT.reach(depth) * place.scale + 2) : 7;
    tool.setAttribute("transform", `translate(${place.px(x).toFixed(2)} ${place.py(y).toFixed(2)})`);
    for (const ring of tool.querySelectorAll("circle")) ring.setAttribute("r", reach.toFixed(2));
    tool.setAttribute("class", depth > 0 ? "tool in" : "tool");
  } else tool.setAttribute("class", "tool gone");
  return [i, f];
};

const spoken = () => `Line ${written["read-line"]}, pass ${written["read-pass"]}, depth ${written["read-depth"]} ${DATA.figures.unit}, ` +
  `${written["read-elapsed"]} elapsed, ${written["read-remaining"]} to go.`;

// Heard by screen readers: every few seconds while playing, and a moment after anything else.
const speak = (time) => {
  if (time - told < (now.playing ? 6000 : 600)) return true;
  told = time;
  if (still()) return false;
  if ($("spoken")) $("spoken").textContent = spoken();
  if (scrub) scrub.setAttribute("aria-valuetext", `${written["read-elapsed"]} of ${readTime(TOTAL_S)}`);
  return false;
};

const showStrip = () => {
  if (!strips) return;
  const pen = strip.getContext("2d");
  const share = TOTAL_S > 0 ? now.t / TOTAL_S : 0, cut = Math.round(strip.width * share);
  pen.clearRect(0, 0, strip.width, strip.height);
  if (cut < strip.width) pen.drawImage(strips[1], cut, 0, strip.width - cut, strip.height, cut, 0, strip.width - cut, strip.height);
  if (cut > 0) pen.drawImage(strips[0], 0, 0, cut, strip.height, 0, 0, cut, strip.height);
  scrub.value = String(share);
};

// Carve on towards the share f of move i for a slice of a frame; tell whether it is reached.
const carve = (i, f) => {
  if (COUNT) carver.aim(i, now.t <= 0 ? 0 : f);
  const done = carver.work(SLICE_MS);
  if (done) carver.surface.finish(COUNT > 0 && now.t >= TOTAL_S);
  // After a zoom the former picture stands until the new one has caught up.
  if (done || (!fresh && now.playing) || ++waiting > (fresh ? 90 : 12)) { carver.surface.blit(paper); waiting = 0; fresh = false; }
  return done;
};

const frame = (time) => {
  asked = 0;
  if (now.playing) {
    const step = last ? Math.min(0.1, (time - last) / 1000) : 0;
    now.t = Math.min(TOTAL_S, now.t + step * SPEEDS[now.speed]);
    if (now.t >= TOTAL_S) play(false);
  }
  last = now.playing ? time : 0;
  const [i, f] = readOut();
  const done = !carver || carve(i, f);
  view.dataset.carved = carver ? carver.at : "";
  view.dataset.settled = done ? "yes" : "no";
  showStrip();
  const more = speak(time);
  root.dataset.ready = "yes";
  if (now.playing || !done || more) ask();
};
const ask = () => { if (!asked && !life.signal.aborted) asked = requestAnimationFrame(frame); };

const play = (on) => {
  if (on && !COUNT && DATA.still) return;
  if (on) showRun();
  if (on && now.t >= TOTAL_S) now.t = 0;
  now.playing = on;
  root.dataset.state = on ? "playing" : "paused";
  if ($("play-word")) $("play-word").textContent = on ? "Pause" : "Play";
  if (on) choose(-1);
  ask();
};

const seek = (t, keep) => {
  if (now.playing) play(false);
  if (!keep) choose(-1);
  showRun();
  now.t = Math.max(0, Math.min(TOTAL_S, t));
  ask();
};

// The end of a move is shown a hair early, while its line is still the one being run.
const HAIR_S = 1e-6;
const endOf = (k) => START_S[k] + TAKES_S[k];
const seekEnd = (k) => seek(Math.max(START_S[k], endOf(k) - HAIR_S));

// Forward to the end of the next move that takes time; back to the end of the one before the last that is done.
const stepMove = (by) => {
  if (COUNT === 0) return;
  const t = now.t + 2 * HAIR_S;
  let [k, share] = moveAt(t);
  if (share < 1 || now.t <= 0) k -= 1; // now the last move that is done
  if (by > 0) {
    do k += 1; while (k < COUNT - 1 && endOf(k) <= t);
    seekEnd(Math.min(k, COUNT - 1));
  } else {
    while (k >= 0 && endOf(k) >= now.t - HAIR_S) k -= 1;
    if (k < 0) seek(0); else seekEnd(k);
  }
};

const stepPass = (by) => {
  const starts = PASS_FIRST.map((i) => START_S[i]);
  if (by > 0) { const next = starts.find((s) => s > now.t + 1e-6); seek(next === undefined ? TOTAL_S : next); }
  else { const before = starts.filter((s) => s < now.t - 1e-6); seek(before.length ? before[before.length - 1] : 0); }
};

const setSpeed = (by) => {
  now.speed = Math.max(0, Math.min(SPEEDS.length - 1, now.speed + by));
  write("speed", `${SPEEDS[now.speed]}×`);
};

const showChosen = () => {
  document.querySelectorAll(".finding").forEach((button, k) => {
    button.setAttribute("aria-pressed", String(k === now.chosen));
    const places = button.querySelector("output");
    if (!places) return;
    places.dataset.all = places.dataset.all || places.textContent;
    places.textContent = k === now.chosen ? `place ${now.nth + 1} of ${places.dataset.all.replace(" places", "")}` : places.dataset.all;
  });
  marks.spots.forEach((group, k) => group.forEach((g, nth) => {
    if (!g) return;
    if (k === now.chosen && nth === now.nth) { g.dataset.chosen = "yes"; g.parentNode.append(g); } else delete g.dataset.chosen;
  }));
};

// Shows place `nth` of the findings k; -1 lets go.
const choose = (k, nth = 0) => {
  if (k === now.chosen && nth === now.nth) return;
  Object.assign(now, { chosen: k, nth, line: -1 });
  if (k >= 0 && SPOTS[k][nth].moment !== null) seek(SPOTS[k][nth].moment, true);
  if (options.onFinding) options.onFinding(k, nth);
  showChosen();
  ask();
};

// Pressed again, a finding shows its next place; after the last it lets go.
const chooseNext = (k) => {
  const next = k === now.chosen ? now.nth + 1 : 0;
  if (next < SPOTS[k].length) choose(k, next); else choose(-1);
};

const setTheme = (dark) => {
  root.dataset.theme = dark ? "dark" : "light";
  if ($("theme")) $("theme").textContent = dark ? "Light look" : "Dark look";
  if (place) arrange();
};
