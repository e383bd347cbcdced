// The pieces held at a screen: asked for ahead, put off, given up. Run by `node --test tests/viewer/`.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const PROGRAM = readFileSync(new URL("../../app/pages/viewer/pieces.js", import.meta.url), "utf8");
const QUEUE = { mode: "queue", wanted: {}, inspector: "R. Hale", empty: { queue: "Nothing waits.", one: "No such piece.", done: "Done." } };
const card = (piece_id) => ({ piece_id, blind: false });
const settled = () => new Promise((done) => setImmediate(done));

/** Pieces fed by a server of `stock` pieces in order, or by `answer`. */
function waiting({ stock = 0, outbox = [], answer } = {}) {
  const calls = [];
  const timers = [];
  const said = [];
  const context = vm.createContext({ setTimeout: (work, delay) => timers.push({ work, delay }) });
  vm.runInContext(`class Refused extends Error {}\n${PROGRAM}\nObject.assign(globalThis, { Pieces, Refused, progressWords });`, context);
  const serve = (path, { have, count }) => {
    const free = Array.from({ length: stock }, (_, k) => k + 1).filter((id) => !have.includes(id));
    return { cards: free.slice(0, count).map(card), left: stock, pace: 0 };
  };
  const call = async (path, body) => {
    calls.push([path, body]);
    return (answer ?? serve)(path, body, context);
  };
  const pieces = new context.Pieces({ call, verdicts: { unsent: outbox } }, {
    came: () => { if (!pieces.current && pieces.queue.length) pieces.next(); },
    none: (words, offer) => said.push(offer ? `${words} [${offer}]` : words),
  });
  return { pieces, calls, timers, said, context };
}

test("two pieces are asked for first, then the rest; none is held twice", async () => {
  const { pieces, calls } = waiting({ stock: 40 });
  assert.equal(pieces.take(QUEUE), true);
  await pieces.fill();
  for (let k = 0; k < 9; k += 1) await settled();
  assert.equal(calls[0][1].count, 2);
  const held = [pieces.current, ...pieces.queue].map((one) => one.piece_id);
  assert.deepEqual(held, Array.from({ length: 15 }, (_, k) => k + 1));
  assert.equal(pieces.take(QUEUE), false);
});

test("a piece whose verdict is still on its way is not asked for again", async () => {
  const { pieces } = waiting({ stock: 2, outbox: [{ piece_id: 1, verdict: "reject" }, { piece_id: 2, verdict: "withdrawn" }] });
  pieces.take(QUEUE);
  await pieces.fill();
  assert.equal(pieces.current.piece_id, 2);
});

test("what was put off comes again at the end, and an empty queue is said once", async () => {
  const { pieces, said } = waiting({ stock: 2 });
  pieces.take(QUEUE);
  await pieces.fill();
  const seen = [];
  for (let k = 0; k < 3; k += 1) {
    seen.push(pieces.current.piece_id);
    assert.equal(pieces.putOff(), true);
    pieces.next();
    for (let n = 0; n < 5; n += 1) await settled();
  }
  assert.deepEqual(seen, [1, 2, 1]);
  assert.deepEqual(said, []);
});

test("a server that is away is asked again; what it refuses is said in its words", async () => {
  let down = true;
  const { pieces, timers, said } = waiting({
    answer: (path, body, context) => {
      if (down) throw new Error("socket");
      throw new context.Refused("this page is older than the server: load it again");
    },
  });
  pieces.take(QUEUE);
  await pieces.fill();
  assert.deepEqual(said, ["The server does not answer; trying again."]);
  down = false;
  timers[0].work();
  await settled();
  assert.equal(said[1], "this page is older than the server: load it again");
});

test("an answer to an older question is not taken", async () => {
  let open;
  const first = new Promise((done) => { open = done; });
  const { pieces } = waiting({
    answer: async (path, { wanted }) => {
      if (wanted.lot === "A") await first;
      return { cards: wanted.lot === "A" ? [card(1)] : [], left: 0, pace: 0 };
    },
  });
  pieces.take({ ...QUEUE, wanted: { lot: "A" } });
  const filled = pieces.fill();
  pieces.take({ ...QUEUE, wanted: { lot: "B" } });
  open();
  await filled;
  for (let n = 0; n < 5; n += 1) await settled();
  assert.equal(pieces.current, null);
});

test("pieces that went to another are given up, and the one shown is told", async () => {
  const { pieces } = waiting({
    answer: (path) => (path === "renew" ? { gone_to: { 1: "M. Okafor", 3: "M. Okafor" }, left: 2 } : { cards: [1, 2, 3].map(card), left: 3 }),
  });
  pieces.take(QUEUE);
  pieces.queue = [2, 3, 4].map(card);
  pieces.current = card(1);
  assert.equal(await pieces.renew(), "M. Okafor");
  assert.deepEqual(pieces.queue.map((one) => one.piece_id), [2, 4]);
});

test("one piece by its link is asked for once", async () => {
  const { pieces, calls, said } = waiting({ answer: () => ({ cards: [], held_by: null }) });
  pieces.take({ ...QUEUE, mode: "one", one: { tray: "T", piece: 7 } });
  await pieces.fill();
  assert.deepEqual(calls, [["one", { tray: "T", piece: 7 }]]);
  assert.deepEqual(said, ["No such piece."]);
});

test("how far one is, in words", () => {
  const { context } = waiting();
  assert.equal(context.progressWords("queue", { left: 12, pace: 6 }), "12 left, 6 in the last 10 min, about 20 min to go");
  assert.equal(context.progressWords("queue", { left: 6163, pace: 24 }), "6163 left, 24 in the last 10 min, about 43 h to go");
  assert.equal(context.progressWords("queue", { left: 60, pace: 5 }), "60 left, 5 in the last 10 min, about 2.0 h to go");
  assert.equal(context.progressWords("queue", { left: 12, pace: 0 }), "12 left");
  assert.equal(context.progressWords("blind", { left: 12, whole: 40 }), "28 of 40 seen");
  assert.equal(context.progressWords("blind", {}), "");
});

test("what others have in hand is told, and taken over where that is asked for", async () => {
  let lent = { "R. Hale": 1, "M. Okafor": 2 };
  const { pieces, calls, said } = waiting({
    answer: (path, { take_over }) => {
      if (take_over) lent = {};
      return { cards: take_over ? [card(1)] : [], left: 3, in_hand: lent };
    },
  });
  pieces.take(QUEUE);
  await pieces.fill();
  const words = "3 wait, all in hand of yourself in another window and M. Okafor. [take over]";
  assert.deepEqual(said, [words]);
  await pieces.count();
  assert.deepEqual(calls.map(([path]) => path), ["next", "count"]); // as before: not asked for again
  lent = { "M. Okafor": 3 };
  await pieces.count();
  await settled();
  assert.equal(said[1], "3 wait, all in hand of M. Okafor. [take over]");
  await pieces.takeOver();
  assert.equal(pieces.current.piece_id, 1);
  assert.equal(calls.at(-2)[1].take_over, true);
  assert.equal(pieces.takingOver, false);
});

test("a piece that comes free is fetched as soon as it is counted", async () => {
  let free = 0;
  const { pieces } = waiting({
    answer: (path) => ({ cards: path === "next" && free ? [card(9)].splice(0, free--) : [], left: free, in_hand: {} }),
  });
  pieces.take(QUEUE);
  await pieces.fill();
  assert.equal(pieces.current, null);
  free = 1;
  await pieces.count();
  for (let n = 0; n < 3; n += 1) await settled();
  assert.equal(pieces.current.piece_id, 9);
});

test("a piece that was looked at does not come again while its labels are on their way, but for who goes back to it", async () => {
  const look = (judgement_id) => ({ piece_id: judgement_id, judgement_id, blind: true, number: judgement_id, look: { again: true } });
  const answer = (_, { have, count }) => ({ cards: [11, 12, 13].filter((one) => !have.includes(one)).slice(0, count).map(look) });
  const { pieces, calls, said } = waiting({ answer });
  pieces.take({ ...QUEUE, mode: "looks", empty: { looks: "Nothing to look at." } });
  await pieces.fill();
  for (let k = 0; k < 4; k += 1) await settled();
  assert.equal(JSON.stringify(calls[0]), JSON.stringify(["looks", { blind: null, have: [], count: 2 }]));
  const seen = [];
  while (pieces.current) {
    seen.push(pieces.current.judgement_id);
    pieces.lookedAt.push(pieces.current);
    pieces.next();
    await settled();
  }
  await settled();
  assert.deepEqual(seen, [11, 12, 13]);
  assert.deepEqual([...calls.at(-1)[1].have], [11, 12, 13]);
  assert.deepEqual(said.at(-1), "Nothing to look at.");
  pieces.putBefore(pieces.lookedAt.pop());
  pieces.next();
  assert.equal(pieces.current.judgement_id, 13);
});
