// What the keys of the viewer mean. Run by `node --test tests/viewer/`.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const FOLDER = new URL("../../app/pages/viewer/", import.meta.url);
const text = (name) => readFileSync(new URL(name, FOLDER), "utf8");

class Element {
  constructor(matching = "") {
    this.matching = matching;
  }

  matches(selector) {
    return selector.split(", ").includes(this.matching);
  }
}

/** The keys' program, and a viewer that writes down what it is asked for. */
function bench(state = {}) {
  const context = vm.createContext({ Element });
  vm.runInContext(`const ZOOM_STEP = 1.25, BRIGHT_STEP = 1.2;\n${text("keys.js")}\nObject.assign(globalThis, { act, press, keyName, KEYS });`, context);
  const asked = [];
  const recorder = (path, own) => new Proxy(own, {
    get: (held, name) => (name in held ? held[name] : (...given) => void asked.push(JSON.parse(JSON.stringify([`${path}${name}`, ...given])))),
  });
  const viewer = recorder("", {
    card: {},
    defects: null,
    given: { choosing: false },
    root: { isConnected: true, focus: () => asked.push(["root.focus"]) },
    note: new Element("input"),
    stage: recorder("stage.", { view: { zoom: 1 }, brightness: 1, ...state.stage }),
    panel: recorder("panel.", { at: 2 }),
    ...state.viewer,
  });
  viewer.note.focus = () => asked.push(["note.focus"]);
  const press = (key, more = {}) => {
    const event = { key, timeStamp: 5, repeat: false, target: new Element(), ...more, stopped: false };
    Object.assign(event, {
      composedPath: () => [event.target],
      preventDefault: () => (event.stopped = true),
      stopImmediatePropagation: () => {},
    });
    context.press(viewer, event);
    return event.stopped;
  };
  return { context, viewer, asked, press };
}

test("every key that a button carries or the help names has a meaning", () => {
  const { context } = bench();
  const page = text("viewer.html");
  const buttons = [...page.matchAll(/data-key="([^"]+)"/g)].map(([, name]) => name);
  const helped = [...page.split('class="keys"')[1].matchAll(/<kbd>([^<]+)<\/kbd>/g)].map(([, name]) => name.toLowerCase());
  const named = { esc: "escape", "+": "", "-": "", 1: "", 8: "", 9: "" };
  const names = [...buttons, ...helped].map((name) => named[name] ?? name).filter(Boolean);
  assert.ok(names.length > 20);
  for (const name of names) assert.ok(Object.hasOwn(context.KEYS, name), name);
});

test("a verdict key judges once, however long it is held", () => {
  const { asked, press } = bench();
  assert.equal(press("a"), true);
  assert.equal(press("A", { repeat: true }), true);
  assert.deepEqual(asked, [["verdict", "accept", [], 5]]);
});

test("a label is said once, of the finding selected, also while a reject is begun", () => {
  for (const defects of [null, new Set()]) {
    const { asked, press } = bench({ viewer: { defects } });
    press("w");
    press("W", { repeat: true });
    press("e");
    assert.deepEqual(asked, [["label", "mark", 5], ["label", "none", 5]]);
  }
});

test("arrows and zoom may be held; at the whole picture arrows stay the page's", () => {
  const near = bench({ stage: { view: { zoom: 4 } } });
  near.press("ArrowLeft", { repeat: true });
  near.press("+", { repeat: true });
  near.press("-");
  assert.deepEqual(near.asked, [["stage.panBy", -80, 0], ["stage.zoomBy", 1.25], ["stage.zoomBy", 0.8]]);
  const whole = bench();
  assert.equal(whole.press("ArrowLeft"), false);
  assert.deepEqual(whole.asked, []);
});

test("digits choose", () => {
  const { asked, press } = bench();
  press("1");
  press("9");
  assert.deepEqual(asked, [["digit", 0], ["digit", 8]]);
});

test("Enter rejects only while a reject is under way", () => {
  const idle = bench();
  idle.press("Enter");
  assert.deepEqual(idle.asked, []);
  const choosing = bench({ viewer: { defects: new Set() } });
  choosing.press("Enter");
  assert.deepEqual(choosing.asked, [["reject", 5]]);
});

test("what is written into a box, or meant for a button or the browser, judges nothing", () => {
  const { asked, press, viewer } = bench();
  for (const box of ["input", "textarea", "[role=combobox]"]) assert.equal(press("a", { target: new Element(box) }), false);
  assert.equal(press("Enter", { target: new Element("button") }), false);
  for (const held of ["ctrlKey", "metaKey", "altKey"]) assert.equal(press("r", { [held]: true }), false);
  assert.equal(press("a", { target: viewer.note }), false);
  assert.deepEqual(asked, []);
  assert.equal(press("Escape", { target: viewer.note }), true);
  assert.deepEqual(asked, [["root.focus"]]);
});

test("without a piece only what needs none is done", () => {
  const { asked, press } = bench({ viewer: { card: null } });
  for (const key of ["s", "j", "d", "1", "0", "+"]) assert.equal(press(key), false, key);
  press("u");
  press("?");
  assert.deepEqual(asked, [["takeBack"], ["toggleHelp"]]);
});

test("a reject that is begun is confirmed or left, and nothing else judges meanwhile", () => {
  const { asked, press } = bench({ viewer: { defects: new Set() } });
  for (const key of ["a", "s", "u", "b"]) assert.equal(press(key), true, key);
  assert.deepEqual(asked.map(([name]) => name), ["tell", "tell", "tell", "tell"]);
  press("3");
  press("r");
  press("Escape");
  assert.deepEqual(asked.slice(4), [["digit", 2], ["reject", 5], ["back"]]);
});

test("a digit takes a verdict back without a piece, once that was asked for", () => {
  const asking = bench({ viewer: { card: null, given: { choosing: true } } });
  assert.equal(asking.press("2"), true);
  assert.deepEqual(asking.asked, [["digit", 1]]);
});

test("names that every object has are no keys", () => {
  const { context, viewer, asked } = bench();
  for (const name of ["constructor", "toString", "__proto__", "Unidentified", "f5"]) {
    assert.equal(context.act(viewer, name, 0), false, name);
  }
  assert.deepEqual(asked, []);
});

test("a viewer that left the page stops listening", () => {
  const { asked, press, viewer } = bench();
  viewer.root.isConnected = false;
  press("a");
  assert.deepEqual(asked, [["stop"]]);
});

test("a keyboard of another script, a number pad and a pedal judge by position", () => {
  const { asked, press } = bench();
  press("\u0444", { code: "KeyA" }); // Cyrillic ef, where a Latin keyboard has A
  press("Enter", { code: "NumpadEnter" });
  press("0", { code: "Numpad0" });
  press("&", { code: "Digit1" }); // a French keyboard's first digit, without shift
  press("\u0445", { code: "BracketLeft" });
  assert.deepEqual(asked, [["verdict", "accept", [], 5], ["verdict", "accept", [], 5], ["reject", 5], ["stage.brighten", 1 / 1.2]]);
  const latin = bench();
  latin.press("a", { code: "KeyQ" }); // French: by its letter, not where it lies
  latin.press("+", { code: "Digit1" }); // Swiss
  assert.deepEqual(latin.asked, [["verdict", "accept", [], 5], ["stage.zoomBy", 1.25]]);
});
