// What is said of single findings. Run by `node --test tests/viewer/`.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const PROGRAM = readFileSync(new URL("../../app/pages/viewer/labels.js", import.meta.url), "utf8");

// Two reasons that rest on one scratch, a burr that nobody is asked about, a pit, and a question.
const made = () => ({
  judgement_id: 7,
  blind: false,
  reasons: [{ findings: [0] }, { findings: [1] }, { findings: [0] }],
  questions: [{ finding: 9 }],
  findings: [{ tag: "scratch", finding: 2 }, { tag: "burr", finding: null }, { tag: "pit", finding: 3 }],
  labels: {},
});

/** Labels at a panel that writes down where it goes. */
function bench({ at = 0, stood = true } = {}) {
  const posted = [];
  const told = [];
  const said = [];
  const done = [];
  let made = 0;
  const context = vm.createContext({ newId: () => `uid ${(made += 1)}`, pieceName: () => "T-1, piece 2" });
  vm.runInContext(`${PROGRAM}\nObject.assign(globalThis, { Labels, labelled });`, context);
  const panel = { at, stood: () => stood, labels: () => {}, look: () => {}, goTo: (index) => { panel.at = index; } };
  const link = { labels: { post: (one, name) => { said.push({ ...one }); posted.push([one.uid, one.judgement_id, one.finding, one.label, name]); } } };
  const labels = new context.Labels(link, panel, (words) => told.push(words), (card) => done.push(card));
  return { labels, panel, posted, said, done, told, context };
}

test("each line shows a finding, or none that can be told a mark", () => {
  const { context } = bench();
  assert.deepEqual([...context.labelled(made())], [2, null, 2, 9, 2, null, 3]);
  assert.deepEqual([...context.labelled({ blind: true, questions: [] })], []);
  assert.deepEqual([...context.labelled(null)], []);
});

test("what is said is sent, and the next of which nothing was said is shown", () => {
  const { labels, panel, posted, told } = bench();
  const card = made();
  labels.given = 4;
  const went = [];
  for (const word of ["mark", "none", "none"]) {
    labels.say(card, word, 0);
    went.push(panel.at);
  }
  assert.deepEqual(went, [3, 6, 6]);
  assert.deepEqual({ ...card.labels }, { 2: "mark", 9: "none", 3: "none" });
  assert.deepEqual(posted, [
    ["uid 1", 7, 2, "mark", "T-1, piece 2, scratch"],
    ["uid 2", 7, 9, "none", "T-1, piece 2, the place asked about"],
    ["uid 3", 7, 3, "none", "T-1, piece 2, pit"],
  ]);
  assert.deepEqual(told, ["scratch: a mark", "the place asked about: no mark", "pit: no mark"]);
  assert.equal(labels.given, 7);
});

test("the same key takes it back and stays there, the other says the other", () => {
  const { labels, panel, posted } = bench({ at: 6 });
  const card = { ...made(), labels: { 2: "mark", 9: "none", 3: "mark" } };
  labels.given = 3;
  labels.say(card, "mark", 0);
  assert.deepEqual([panel.at, { ...card.labels }, labels.given], [6, { 2: "mark", 9: "none" }, 2]);
  labels.say(card, "mark", 0);
  labels.say(card, "none", 0);
  assert.deepEqual([card.labels[3], labels.given], ["none", 3]);
  assert.deepEqual(posted.map(([, , , label]) => label), ["withdrawn", "mark", "none"]);
});

test("nothing is said of what nobody can have seen, or of what is no finding of the face", () => {
  for (const [state, words] of [[{ stood: false }, /came only now/], [{ at: 1 }, /Nothing here/], [{ at: -1 }, /Nothing here/]]) {
    const { labels, posted, told } = bench(state);
    labels.say(made(), "mark", 0);
    assert.deepEqual(posted, []);
    assert.match(told[0], words);
  }
  const { labels, posted } = bench();
  labels.say({ blind: true, questions: [] }, "mark", 0);
  assert.deepEqual(posted, []);
});

test("of a piece that is only looked at a label says why, and after the last one the next piece comes", () => {
  for (const look of [{ again: true }, { blind_id: 4 }]) {
    const { labels, said, done } = bench();
    const card = { judgement_id: 7, blind: true, look, questions: [{ finding: 5 }, { finding: 2 }], labels: {} };
    labels.say(card, "mark", 0);
    assert.deepEqual(done, []);
    labels.say(card, "none", 0);
    assert.deepEqual(done, [card]);
    assert.deepEqual(said.map(({ finding, label, again, blind_id }) => ({ finding, label, again, blind_id })), [
      { finding: 5, label: "mark", again: undefined, blind_id: undefined, ...look },
      { finding: 2, label: "none", again: undefined, blind_id: undefined, ...look },
    ]);
  }
});
