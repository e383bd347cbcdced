// Wheel, drag, pinch and double tap on the picture.

const DOUBLE_ZOOM = 5; // by a double tap; once more shows the whole
const DOUBLE_MS = 350;
const TAP_PX = 12; // a finger that moved less than this tapped

class Gestures {
  /**
   * @param {HTMLElement} host
   * @param {Stage} stage
   */
  constructor(host, stage) {
    this.host = host;
    this.stage = stage;
    /** @type {Map<number, Point>} */
    this.down = new Map(); // fingers or the mouse, px from the pane's corner
    /** @type {Point} */
    this.began = [0, 0];
    /** @type {Point} */
    this.from = [0, 0]; // in shares of the picture
    this.tapped = -Infinity;
    this.moved = false;
    host.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    host.addEventListener("pointerdown", (event) => this.press(event));
    host.addEventListener("pointermove", (event) => this.move(event));
    for (const name of /** @type {const} */ (["pointerup", "pointercancel"])) {
      host.addEventListener(name, (event) => this.lift(event));
    }
  }

  /**
   * @param {MouseEvent} event
   * @returns {Point}
   */
  at(event) {
    const box = this.host.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    if (!this.stage.card) return;
    event.preventDefault();
    this.stage.zoomBy(event.deltaY < 0 ? ZOOM_STEP : 1 / ZOOM_STEP, this.at(event));
  }

  /** @param {PointerEvent} event */
  press(event) {
    const target = /** @type {Element} */ (event.composedPath()[0]);
    if (!this.stage.card || event.button !== 0 || target.closest("button")) return;
    this.host.setPointerCapture(event.pointerId);
    this.down.set(event.pointerId, this.at(event));
    if (this.down.size > 1) {
      this.moved = true; // a pinch is no tap
      return;
    }
    this.moved = false;
    this.began = this.at(event);
    this.from = this.stage.view.under(this.began);
  }

  /** @param {PointerEvent} event */
  move(event) {
    const before = this.down.get(event.pointerId);
    if (!before) return;
    const now = this.at(event);
    if (Math.hypot(now[0] - this.began[0], now[1] - this.began[1]) > TAP_PX) this.moved = true;
    if (this.stage.ruling && this.down.size === 1) {
      this.stage.measure([this.from, this.stage.view.under(now)]);
    } else if (this.down.size === 2) {
      this.pinch(event.pointerId, before, now);
    } else {
      this.stage.panBy(before[0] - now[0], before[1] - now[1]);
    }
    this.down.set(event.pointerId, now);
  }

  /**
   * @param {number} id the finger that moved
   * @param {Point} before
   * @param {Point} now
   */
  pinch(id, before, now) {
    const [other] = [...this.down].filter(([one]) => one !== id).map(([, at]) => at);
    const apart = (/** @type {Point} */ one) => Math.max(1, Math.hypot(one[0] - other[0], one[1] - other[1]));
    this.stage.zoomBy(apart(now) / apart(before), [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2]);
    this.stage.panBy((before[0] - now[0]) / 2, (before[1] - now[1]) / 2);
  }

  /** @param {PointerEvent} event */
  lift(event) {
    if (!this.down.delete(event.pointerId) || this.down.size || this.moved || this.stage.ruling) return;
    const second = event.timeStamp - this.tapped < DOUBLE_MS;
    this.tapped = second ? -Infinity : event.timeStamp;
    if (!second) return;
    if (this.stage.view.zoom > 1) this.stage.whole();
    else this.stage.zoomBy(DOUBLE_ZOOM, this.at(event));
  }
}
