// Where the picture lies in its pane, and what the close-up makes of it. Run by `node --test tests/viewer/`.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const FOLDER = new URL("../../app/pages/viewer/", import.meta.url);
const drawings = []; // every path that was drawn
const svg = (name) => ({ name, append() {}, setAttribute: (key, value) => key === "d" && drawings.push(value) });
const context = vm.createContext({ devicePixelRatio: 1, document: { createElementNS: (_, name) => svg(name) } });
const program = ["elements.js", "marks.js", "view.js", "closeup.js"].map((name) => readFileSync(new URL(name, FOLDER), "utf8")).join("\n");
vm.runInContext(`${program}\nObject.assign(globalThis, { CloseUp, View, levels, boxAround, standsOut });`, context);

/** A view of a picture of 1200 x 400 px in a pane. */
function viewed(pane, turned) {
  return Object.assign(new context.View(), { size: [1200, 400], pane, turned });
}

const near = (a, b) => a.forEach((value, k) => assert.ok(Math.abs(value - b[k]) < 1e-9, `${a} is not ${b}`));

test("the whole picture fits, upright too", () => {
  assert.equal(viewed([600, 400], false).scale, 0.5);
  assert.equal(viewed([400, 600], true).scale, 0.5);
});

test("turned, what lies at the left stands at the top", () => {
  const tall = viewed([400, 600], true);
  near(tall.under([200, 0]), [0, 0.5]);
  near(tall.under([300, 300]), [0.5, 0]);
});

for (const turned of [false, true]) {
  test(`what is under the finger stays under it, turned: ${turned}`, () => {
    const view = viewed([500, 700], turned);
    const before = view.under([120, 410]);
    view.zoomBy(3, [120, 410]);
    near(view.under([120, 410]), before);
    view.panBy(30, -20);
    near(view.under([90, 430]), before);
    view.zoomBy(0.01);
    assert.deepEqual([view.zoom, view.center.join()], [1, "0.5,0.5"]);
  });
}

test("contrast leaves out a hundredth at either end, and a flat place is shown as it was taken", () => {
  const pixels = new Uint8ClampedArray(4 * 1000).fill(100);
  for (let k = 0; k < 400; k += 1) pixels[4 * k] = 160;
  pixels[4 * 999] = 255; // one glint
  assert.equal(context.levels(pixels).join(), "100,160");
  assert.equal(context.levels(new Uint8ClampedArray(400).fill(7)).join(), "0,255");
});

test("a place without a size is shown as one of the least size", () => {
  assert.equal(context.boxAround([[10, 20]], 8).join(), "6,16,14,24");
  assert.equal(context.boxAround([[10, 20], [30, 21]], 8).join(), "10,16.5,30,24.5");
});

test("a line stands out by its step from both sides, a slope by nothing, a spot by its step from the ring", () => {
  const picture = (value) => {
    const data = new Uint8ClampedArray(4 * 40 * 40);
    for (let k = 0; k < 1600; k += 1) data[4 * k] = value(k % 40, Math.floor(k / 40));
    return { width: 40, height: 40, data };
  };
  const along = [[5, 20], [35, 20]];
  assert.equal(context.standsOut(picture((x, y) => (y === 20 ? 150 : 90)), along, 8), 60);
  assert.equal(context.standsOut(picture((x, y) => 4 * y), along, 8), 0);
  assert.equal(context.standsOut(picture((x, y) => (Math.hypot(x - 20, y - 20) < 2 ? 30 : 90)), [[20, 20]], 8), 60);
});

test("a pane without room, as of a page that is left, draws nothing; one with room draws numbers", () => {
  const bar = { style: {} };
  const drawnIn = (clientWidth, clientHeight) => {
    drawings.length = 0;
    const host = { clientWidth, clientHeight, dataset: {}, querySelector: () => bar };
    const canvas = { getContext: () => ({ clearRect() {} }) };
    const marks = { setAttribute() {}, replaceChildren() {} };
    const pane = Object.assign(Object.create(context.CloseUp.prototype), { host, canvas, marks, box: [10, 10, 30, 20], nominal: false });
    pane.draw({ px_per_mm: 20, outline: "" }, null, false);
    return [...drawings];
  };
  for (const room of [[300, 0], [0, 300], [0, 0]]) assert.deepEqual(drawnIn(...room), []);
  const paths = drawnIn(300, 200);
  assert.equal(paths.length, 2);
  for (const d of paths) assert.match(d, /^(M[\d.-]+ [\d.-]+H[\d.-]+V[\d.-]+)+$/);
});
