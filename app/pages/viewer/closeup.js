// The close-up beside the whole piece: what decides, in the light that shows it, its contrast set for that place.

const BOX_SHARE = 0.45; // of the pane that the place takes, so that it is seen among what is around it
const BRACKET_PX = 9; // brackets stand this far from the place
const CLEAR = 1.2; // contrast is set over the place and a little around it, so that no glare beside it counts
const BESIDE_PX = 5; // a line is held against the picture so far to either side of it
const TAIL = 0.01; // of the pixels there, at either end of the greys
const FLAT = 8; // grey levels: no more than jpeg leaves of a flat place, which is shown as it was taken

/** @typedef {[number, number, number, number]} Box left, top, right, bottom; px of the upright picture */

/**
 * A box about points, no smaller than so many px.
 * @param {Point[]} points
 * @param {number} least
 * @returns {Box}
 */
function boxAround(points, least) {
  const sides = [0, 1].map((axis) => points.map((point) => point[axis]));
  const [low, high] = [sides.map((side) => Math.min(...side)), sides.map((side) => Math.max(...side))];
  const short = [0, 1].map((axis) => Math.max(0, least - (high[axis] - low[axis])) / 2);
  return [low[0] - short[0], low[1] - short[1], high[0] + short[0], high[1] + short[1]];
}

/**
 * The greys that become black and white: all but the tails of what is seen there.
 * @param {Uint8ClampedArray} pixels RGBA
 * @returns {[number, number]}
 */
function levels(pixels) {
  const count = new Uint32Array(256);
  for (let k = 0; k < pixels.length; k += 4) count[pixels[k]] += 1;
  const cut = (pixels.length / 4) * TAIL;
  let [low, below] = [0, count[0]];
  while (below <= cut && low < 255) below += count[++low];
  let [high, above] = [255, count[255]];
  while (above <= cut && high > 0) above += count[--high];
  return high - low < FLAT ? [0, 255] : [low, high];
}

/**
 * How a mark stands out from what is beside it, grey levels: along a line the mean step from both its sides, of a spot the
 * step from a ring about it.
 * @param {ImageData} picture
 * @param {Point[]} points px of that picture
 * @param {number} ring the ring's radius
 */
function standsOut(picture, points, ring) {
  const grey = (/** @type {number} */ x, /** @type {number} */ y) => {
    const [u, v] = [Math.min(picture.width - 1, Math.max(0, Math.round(x))), Math.min(picture.height - 1, Math.max(0, Math.round(y)))];
    return picture.data[4 * (v * picture.width + u)];
  };
  if (points.length === 1) {
    const [[x, y]] = points;
    const around = Array.from({ length: 12 }, (_, k) => grey(x + ring * Math.cos(k), y + ring * Math.sin(k)));
    return Math.abs(grey(x, y) - around.reduce((sum, one) => sum + one, 0) / around.length);
  }
  const steps = points.slice(1).flatMap(([x, y], k) => {
    const [x0, y0] = points[k];
    const length = Math.hypot(x - x0, y - y0);
    if (!length) return [];
    const [nx, ny] = [(-(y - y0) / length) * BESIDE_PX, ((x - x0) / length) * BESIDE_PX];
    return [0.25, 0.5, 0.75].map((share) => {
      const [u, v] = [x0 + share * (x - x0), y0 + share * (y - y0)];
      return grey(u, v) - 0.5 * (grey(u + nx, v + ny) + grey(u - nx, v - ny));
    });
  });
  return Math.abs(steps.reduce((sum, one) => sum + one, 0) / Math.max(1, steps.length));
}

class CloseUp {
  /** @param {HTMLElement} host */
  constructor(host) {
    this.host = host;
    this.canvas = /** @type {HTMLCanvasElement} */ (inside(host, "canvas"));
    this.marks = inside(host, ".closeup-marks");
    this.words = inside(host, ".closeup-words");
    /** @type {Box | null} */
    this.box = null;
    this.nominal = false; // whether the drawing's line is shown
    this.small = document.createElement("canvas");
  }

  /**
   * @param {Box | null} box what is shown; null: nothing has a place
   * @param {string} words what is said at that place
   * @param {boolean} nominal
   */
  aim(box, words, nominal) {
    this.box = box;
    this.nominal = nominal;
    this.words.textContent = words;
    this.host.hidden = !box;
  }

  /**
   * The part of the picture that the pane shows, px of the picture: its corner and size; and the scale.
   * @param {Box} box
   * @param {boolean} turned
   */
  region(box, turned) {
    const pane = [this.host.clientWidth, this.host.clientHeight];
    const [across, down] = turned ? [pane[1], pane[0]] : pane;
    const scale = BOX_SHARE * Math.min(across / (box[2] - box[0]), down / (box[3] - box[1]));
    const [width, height] = [across / scale, down / scale];
    return { x: (box[0] + box[2] - width) / 2, y: (box[1] + box[3] - height) / 2, width, height, scale };
  }

  /**
   * @param {Card} card
   * @param {HTMLImageElement | null} image
   * @param {boolean} turned
   */
  draw(card, image, turned) {
    const box = this.box;
    this.host.dataset.box = "";
    if (!box || !this.host.clientWidth || !this.host.clientHeight) return; // a pane that is being taken out has no height
    const region = this.region(box, turned);
    const dense = devicePixelRatio;
    const [wide, high] = [this.host.clientWidth, this.host.clientHeight].map((side) => Math.round(side * dense));
    if (this.canvas.width !== wide || this.canvas.height !== high) Object.assign(this.canvas, { width: wide, height: high });
    const paper = this.canvas.getContext("2d");
    if (!paper) return;
    paper.clearRect(0, 0, wide, high);
    if (image?.naturalWidth) {
      const clear = this.clear(box, region, image);
      paper.save();
      if (turned) {
        paper.translate(wide, 0);
        paper.rotate(Math.PI / 2);
      }
      paper.imageSmoothingQuality = "high";
      paper.drawImage(clear, 0, 0, turned ? high : wide, turned ? wide : high);
      paper.restore();
    }
    this.mark(card, box, region, turned);
  }

  /**
   * How a mark stands out in a picture.
   * @param {HTMLImageElement} image
   * @param {Box} box the mark's
   * @param {Point[]} points px of the picture
   */
  contrast(image, box, points) {
    const [x, y] = [box[0] - 2 * BESIDE_PX, box[1] - 2 * BESIDE_PX];
    const [width, height] = [box[2] - x, box[3] - y].map((side) => Math.ceil(side + 2 * BESIDE_PX));
    Object.assign(this.small, { width, height });
    const paper = /** @type {CanvasRenderingContext2D} */ (this.small.getContext("2d", { willReadFrequently: true }));
    paper.drawImage(image, x, y, width, height, 0, 0, width, height);
    const moved = points.map((point) => /** @type {Point} */ ([point[0] - x, point[1] - y]));
    return standsOut(paper.getImageData(0, 0, width, height), moved, (box[2] - box[0]) / 3);
  }

  /**
   * The region with its contrast set.
   * @param {Box} box
   * @param {{ x: number, y: number, width: number, height: number, scale: number }} region
   * @param {HTMLImageElement} image
   */
  clear(box, region, image) {
    const shrink = Math.min(1, region.scale * devicePixelRatio); // no finer than the screen
    const [width, height] = [region.width, region.height].map((side) => Math.max(1, Math.round(side * shrink)));
    Object.assign(this.small, { width, height });
    const paper = /** @type {CanvasRenderingContext2D} */ (this.small.getContext("2d", { willReadFrequently: true }));
    paper.drawImage(image, region.x, region.y, region.width, region.height, 0, 0, width, height);
    const about = [box[2] - box[0], box[3] - box[1]].map((side) => Math.max(4, Math.round(side * CLEAR * shrink)));
    const corner = [(width - about[0]) / 2, (height - about[1]) / 2].map((at) => Math.max(0, Math.round(at)));
    const [low, top] = levels(paper.getImageData(corner[0], corner[1], Math.min(width, about[0]), Math.min(height, about[1])).data);
    const all = paper.getImageData(0, 0, width, height);
    const grey = Uint8ClampedArray.from({ length: 256 }, (_, value) => ((value - low) / (top - low)) * 255);
    for (let k = 0; k < all.data.length; k += 4) all.data[k] = all.data[k + 1] = all.data[k + 2] = grey[all.data[k]];
    paper.putImageData(all, 0, 0);
    return this.small;
  }

  /**
   * @param {Card} card
   * @param {Box} box
   * @param {{ x: number, y: number, width: number, height: number, scale: number }} region
   * @param {boolean} turned
   */
  mark(card, box, region, turned) {
    const [wide, high] = [this.host.clientWidth, this.host.clientHeight];
    const { x, y, width, scale } = region;
    const place = turned
      ? `translate(${wide} 0) rotate(90) scale(${scale}) translate(${-x} ${-y})`
      : `scale(${scale}) translate(${-x} ${-y})`;
    const within = drawn("g", { transform: place });
    if (this.nominal && card.outline) within.append(drawn("path", { class: "nominal thin", d: card.outline }));
    within.append(...brackets(box, BRACKET_PX / scale, "here"));
    this.marks.setAttribute("viewBox", `0 0 ${wide} ${high}`);
    this.marks.replaceChildren(within);
    this.host.dataset.box = JSON.stringify([wide / 2, high / 2, (box[2] - box[0]) * scale, (box[3] - box[1]) * scale].map(Math.round));
    layBar(inside(this.host, ".bar"), (card.px_per_mm ?? 0) * (width ? scale : 0));
  }
}
