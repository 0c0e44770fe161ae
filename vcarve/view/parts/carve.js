// Carving: a height map of the piece at the picture's own resolution, shaded as it is cut.
//
// Every pixel keeps the deepest level reached (µm, may be slightly above the surface at an edge, which gives soft
// edges) and the light on the wall that reached it.  Light comes from the upper left, a softer one from the right.

const NEVER = -32768;
const FLAT = 128;

// The light on a wall as a share of that on the flat top: x, y point up the wall (Y down, as in the picture), `lean` and
// `up` are the level and the upright part of its normal.
const [[SUN_X, SUN_Y, SUN_Z], [SECOND_X, SECOND_Y, SECOND_Z, SECOND_SHARE]] = DATA.lights;
const WHOLE = SUN_Z + SECOND_SHARE * SECOND_Z;
const lightOn = (x, y, lean, up) => (Math.max(0, (y * SUN_Y - x * SUN_X) * lean + SUN_Z * up)
  + SECOND_SHARE * Math.max(0, (y * SECOND_Y - x * SECOND_X) * lean + SECOND_Z * up)) / WHOLE;

// The bit as height of its flank above the tip at a radius, in mm, and as half the width it cuts at a depth.  On a way that rises
// by `rise` per mm it cuts a place `across` mm beside deepest when it stands `lag` before it: where the height it leaves is least.
const makeBit = ({ angle, diameter, tip, radius }) => {
  const half = (angle * Math.PI) / 360;
  const cot = 1 / Math.tan(half);
  const round = radius * Math.cos(half), drop = radius * (1 / Math.sin(half) - 1);
  const rise = radius > 0
    ? (r) => (r < round ? radius - Math.sqrt(radius * radius - r * r) : r * cot - drop)
    : (r) => (r <= tip / 2 ? 0 : (r - tip / 2) * cot);
  const reach = (depth) => Math.min(diameter / 2, radius > 0
    ? (depth < rise(round) ? Math.sqrt(Math.max(0, 2 * radius * depth - depth * depth)) : (depth + drop) / cot)
    : tip / 2 + depth / cot);
  const lag = (across, slope) => {
    const sine = Math.abs(slope) / cot;
    let away = sine < 1 ? (across * sine) / Math.sqrt(1 - sine * sine) : Infinity;
    if (radius > 0) {
      const square = ((radius * radius - across * across) * slope * slope) / (1 + slope * slope);
      if (square >= 0 && square + across * across <= round * round) away = Math.sqrt(square);
    } else away = Math.max(away, Math.sqrt(Math.max(0, (tip * tip) / 4 - across * across)));
    return Math.sign(slope) * away;
  };
  return { rise, reach, lag, cot, half, flat: tip / 2, round, diameter };
};

class Surface {
  // wide, tall in pixels; scale in px/mm; left, top: piece coordinates of the picture's upper left corner; image: the uncut piece;
  // finished: shown as it leaves the mill, in the colours of its wood.
  constructor({ wide, tall, scale, left, top, bit, deepest, base, inside, paint, image, finished }) {
    Object.assign(this, { wide, tall, scale, left, top, bit, base, inside, deepest, paint, image, finished });
    this.level = new Int16Array(wide * tall).fill(NEVER);
    this.shade = new Uint8Array(wide * tall).fill(FLAT);
    this.air = new Uint8Array(wide * tall);
    this.out = new Uint32Array(image.data.buffer);
    this.edge = Math.max(1, (bit.cot / scale) * 1000); // µm of level per pixel across an edge
    this.showAir = true;
    this.dots = 0;
    this.dirty = [0, 0, wide, tall];
  }

  clean() { this.dirty = [this.wide, this.tall, 0, 0]; }

  touch(x0, y0, x1, y1) {
    const d = this.dirty;
    if (x0 < d[0]) d[0] = x0;
    if (y0 < d[1]) d[1] = y0;
    if (x1 > d[2]) d[2] = x1;
    if (y1 > d[3]) d[3] = y1;
  }

  colour(i) {
    const inside = this.inside[i];
    const base = 3 * i;
    let r = this.base[base], g = this.base[base + 1], b = this.base[base + 2];
    const level = this.level[i];
    let alpha = inside;
    if (level > NEVER && inside) {
      const cover = Math.min(1, Math.max(0, level / this.edge + 0.5));
      const deep = Math.min(1, Math.max(0, level / (1000 * this.deepest)));
      const light = shown(this.shade[i] / FLAT);
      const sunk = SUNK * deep * deep;
      const { shade, lit, valley } = this.finished ? this.paint.bare : this.paint;
      const gr = (shade[0] + (lit[0] - shade[0]) * light) * (1 - sunk) + valley[0] * sunk;
      const gg = (shade[1] + (lit[1] - shade[1]) * light) * (1 - sunk) + valley[1] * sunk;
      const gb = (shade[2] + (lit[2] - shade[2]) * light) * (1 - sunk) + valley[2] * sunk;
      r += (Math.min(255, gr) - r) * cover;
      g += (Math.min(255, gg) - g) * cover;
      b += (Math.min(255, gb) - b) * cover;
    }
    if (this.showAir && this.air[i]) {
      const a = this.paint.air, k = 0.8;
      if (alpha < 200) { alpha = 255; r = a[0]; g = a[1]; b = a[2]; }
      r += (a[0] - r) * k; g += (a[1] - g) * k; b += (a[2] - b) * k;
    }
    this.out[i] = (alpha << 24) | ((b & 255) << 16) | ((g & 255) << 8) | (r & 255);
  }

  compose() {
    for (let i = 0; i < this.out.length; i++) this.colour(i);
    this.touch(0, 0, this.wide, this.tall);
  }

  // Cut a straight line; depths in mm below the top (a negative one is in the air).
  cut(x0, y0, d0, x1, y1, d1) {
    if (!(d0 > 0 || d1 > 0)) return;
    const { scale, bit, wide, tall, level, shade } = this;
    const X0 = (x0 - this.left) * scale, Y0 = (this.top - y0) * scale;
    const X1 = (x1 - this.left) * scale, Y1 = (this.top - y1) * scale;
    const dx = X1 - X0, dy = Y1 - Y0, long = Math.hypot(dx, dy);
    const ux = long > 0 ? dx / long : 1, uy = long > 0 ? dy / long : 0;
    const most = bit.reach(Math.max(d0, d1));
    const wing = most * scale + 1;
    const low = Math.max(0, Math.floor(Math.min(X0, X1) - wing)), high = Math.min(wide - 1, Math.ceil(Math.max(X0, X1) + wing));
    const first = Math.max(0, Math.floor(Math.min(Y0, Y1) - wing)), last = Math.min(tall - 1, Math.ceil(Math.max(Y0, Y1) + wing));
    if (low > high || first > last) return;
    this.touch(low, first, high + 1, last + 1);
    const lean = Math.cos(bit.half), up = Math.sin(bit.half);
    const limit = bit.diameter / 2 + 0.5 / scale, slope = long > 0 ? ((d0 - d1) * scale) / long : 0;
    for (let row = first; row <= last; row++) {
      const py = row + 0.5;
      let from = low, to = high;
      if (Math.abs(uy) > 1e-3) {
        const middle = X0 + (ux / uy) * (py - Y0), half = wing / Math.abs(uy);
        from = Math.max(low, Math.floor(middle - half));
        to = Math.min(high, Math.ceil(middle + half));
      }
      for (let column = from; column <= to; column++) {
        const px = column + 0.5;
        let t = (px - X0) * ux + (py - Y0) * uy;
        if (slope !== 0) {
          const across = Math.abs((py - Y0) * ux - (px - X0) * uy) / scale;
          const half = Math.sqrt(Math.max(0, limit * limit - across * across));
          t -= Math.max(-half, Math.min(half, bit.lag(across, slope))) * scale;
        }
        t = t < 0 ? 0 : t > long ? long : t;
        const ox = px - X0 - ux * t, oy = py - Y0 - uy * t;
        const pixels = Math.sqrt(ox * ox + oy * oy), r = pixels / scale;
        const depth = long > 0 ? d0 + ((d1 - d0) * t) / long : Math.max(d0, d1);
        const h = (depth - bit.rise(r)) * 1000;
        if (h < -this.edge * 0.5) continue;
        const q = Math.min(32767, Math.round(h)), i = row * wide + column;
        if (q <= level[i]) continue;
        level[i] = q;
        let steep = bit.cot;
        let light;
        if (r <= bit.flat) light = 1;
        else if (bit.round > 0 && r < bit.round) {
          steep = r / Math.sqrt(Math.max(1e-9, (bit.round / lean) ** 2 - r * r));
          const k = 1 / Math.sqrt(1 + steep * steep);
          light = lightOn(ox / pixels, oy / pixels, steep * k, k);
        } else {
          const soft = pixels < 0.9 ? 0.9 : pixels; // both walls share the pixels along the bottom
          light = lightOn(ox / soft, oy / soft, lean, up);
        }
        shade[i] = light <= 0 ? 0 : light >= 1.99 ? 255 : light * FLAT;
        this.colour(i);
      }
    }
  }

  // Dots along a move in the air, evenly spaced over the whole program.
  dot(x0, y0, x1, y1) {
    const { scale, wide, tall, air } = this;
    const X0 = (x0 - this.left) * scale, Y0 = (this.top - y0) * scale;
    const dx = (x1 - x0) * scale, dy = -(y1 - y0) * scale;
    const long = Math.hypot(dx, dy);
    if (!(long > 0)) return;
    const gap = this.paint.gap, size = this.paint.dot;
    for (let at = gap - (this.dots % gap); at <= long; at += gap) {
      const column = Math.round(X0 + (dx * at) / long), row = Math.round(Y0 + (dy * at) / long);
      for (let y = row; y < row + size; y++) for (let x = column; x < column + size; x++) {
        if (x < 0 || y < 0 || x >= wide || y >= tall) continue;
        const i = y * wide + x;
        air[i] = 1;
        this.colour(i);
      }
      this.touch(Math.max(0, column), Math.max(0, row), Math.min(wide, column + size), Math.min(tall, row + size));
    }
    this.dots = (this.dots + long) % gap;
  }

  // Carve the part of move i between the shares f0 and f1.
  move(i, f0, f1) {
    let a = onPiece(along(i, f0));
    const parts = Math.max(1, Math.ceil(partsOf(i) * (f1 - f0)));
    for (let k = 1; k <= parts; k++) {
      const b = onPiece(along(i, k === parts ? f1 : f0 + ((f1 - f0) * k) / parts));
      if (Number.isFinite(a[0] + b[0] + a[1] + b[1])) {
        if (a[2] < 0 || b[2] < 0) this.cut(a[0], a[1], -a[2], b[0], b[1], -b[2]);
        else this.dot(a[0], a[1], b[0], b[1]);
      }
      a = b;
    }
  }

  keep() { return { level: this.level.slice(), shade: this.shade.slice(), air: this.air.slice(), dots: this.dots }; }

  restore(kept) {
    if (kept) {
      this.level.set(kept.level); this.shade.set(kept.shade); this.air.set(kept.air); this.dots = kept.dots;
    } else {
      this.level.fill(NEVER); this.shade.fill(FLAT); this.air.fill(0); this.dots = 0;
    }
    this.compose();
  }

  finish(on) {
    if (on === this.finished || !this.paint.bare) return;
    this.finished = on;
    this.compose();
  }

  blit(context) {
    const [x0, y0, x1, y1] = this.dirty;
    if (x1 > x0 && y1 > y0) context.putImageData(this.image, 0, 0, x0, y0, x1 - x0, y1 - y0);
    this.clean();
  }
}

// Follows a moment of the program on a surface, a slice of work at a time, with kept states to go back to.
class Carver {
  constructor(surface) {
    this.surface = surface;
    this.at = 0; this.share = 0; // whole moves carved, and the share of the next one
    this.target = [0, 0];
    const room = Math.floor((64 << 20) / (4 * surface.level.length));
    this.every = Math.max(32, Math.ceil(COUNT / Math.min(24, Math.max(2, room))));
    this.kept = new Map();
  }

  get behind() { return this.at < this.target[0] || (this.at === this.target[0] && this.share < this.target[1]); }

  aim(index, share) {
    if (share >= 1) { index += 1; share = 0; }
    if (index > COUNT) { index = COUNT; share = 0; }
    const back = index < this.at || (index === this.at && share < this.share);
    this.target = [index, share];
    let best = back ? 0 : this.at;
    for (const key of this.kept.keys()) if (key <= index && key > best) best = key;
    if (back || best > this.at) {
      this.surface.restore(this.kept.get(best));
      this.at = best; this.share = 0;
    }
  }

  // Work until done or until `budget` milliseconds have gone; true when the target is reached.
  work(budget) {
    const until = performance.now() + budget;
    let count = 0;
    while (this.behind) {
      if (this.at < this.target[0]) {
        this.surface.move(this.at, this.share, 1);
        this.at += 1; this.share = 0;
        if (this.at % this.every === 0 && !this.kept.has(this.at)) this.kept.set(this.at, this.surface.keep());
      } else {
        this.surface.move(this.at, this.share, this.target[1]);
        this.share = this.target[1];
      }
      if ((++count & 15) === 0 && performance.now() > until) break;
    }
    return !this.behind;
  }
}
