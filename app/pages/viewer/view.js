// Where the picture lies in its pane: how near, what in the middle, upright or turned by a quarter for a tall pane.

const ZOOM_STEP = 1.25;
const ZOOM_MAX = 40;

class View {
  constructor() {
    this.zoom = 1; // at 1 the whole picture fits
    /** @type {Point} */
    this.center = [0.5, 0.5]; // of the picture, in shares of its width and height
    this.turned = false; // a quarter clockwise: what lies at the left stands at the top
    /** @type {Point} */
    this.size = [1, 1]; // px of the picture
    /** @type {Point} */
    this.pane = [1, 1]; // px of the screen
  }

  whole() {
    this.zoom = 1;
    this.center = [0.5, 0.5];
  }

  // px of the screen for each px of the picture
  get scale() {
    const [width, height] = this.turned ? [this.size[1], this.size[0]] : this.size;
    return Math.min(this.pane[0] / width, this.pane[1] / height) * this.zoom;
  }

  /**
   * A way in the picture as it runs on the screen, without the scale.
   * @param {Point} way
   * @returns {Point}
   */
  turn([x, y]) {
    return this.turned ? [-y, x] : [x, y];
  }

  /**
   * @param {Point} way on the screen
   * @returns {Point} in the picture, without the scale
   */
  back([x, y]) {
    return this.turned ? [y, -x] : [x, y];
  }

  get transform() {
    const middle = this.turn([this.center[0] * this.size[0], this.center[1] * this.size[1]]);
    const [x, y] = [0, 1].map((axis) => this.pane[axis] / 2 - middle[axis] * this.scale);
    return `translate(${x}px, ${y}px) scale(${this.scale})${this.turned ? " rotate(90deg)" : ""}`;
  }

  /**
   * Where a point of the pane is in the picture, as shares of its width and height.
   * @param {Point} at px from the pane's corner
   * @returns {Point}
   */
  under([x, y]) {
    const way = this.back([x - this.pane[0] / 2, y - this.pane[1] / 2]);
    return [this.center[0] + way[0] / (this.size[0] * this.scale), this.center[1] + way[1] / (this.size[1] * this.scale)];
  }

  /**
   * @param {number} x px of the screen
   * @param {number} y
   */
  panBy(x, y) {
    const way = this.back([x, y]);
    const clamp = (/** @type {number} */ value) => Math.min(1, Math.max(0, value));
    this.center = [clamp(this.center[0] + way[0] / (this.size[0] * this.scale)), clamp(this.center[1] + way[1] / (this.size[1] * this.scale))];
  }

  /**
   * @param {number} factor
   * @param {Point} [at] px from the pane's corner: what is under it stays under it
   */
  zoomBy(factor, at) {
    const zoom = Math.min(ZOOM_MAX, Math.max(1, this.zoom * factor));
    if (at) {
      const [u, v] = this.under(at);
      const share = this.zoom / zoom;
      this.center = [u + (this.center[0] - u) * share, v + (this.center[1] - v) * share];
    }
    this.zoom = zoom;
    if (zoom === 1) this.center = [0.5, 0.5];
  }
}
