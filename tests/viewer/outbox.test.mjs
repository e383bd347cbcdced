// The outbox of the viewer: it empties only when the store has a verdict. Run by `node --test tests/viewer/`.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const text = (name) => readFileSync(new URL(`../../app/pages/viewer/${name}`, import.meta.url), "utf8");
const HALE = "R. Hale";

/** What a browser keeps, as an object whose own keys are the names. */
function storage(kept = {}) {
  return new Proxy(kept, {
    get: (held, name) => ({
      getItem: (key) => held[key] ?? null,
      setItem: (key, value) => void (held[key] = String(value)),
      removeItem: (key) => void delete held[key],
    })[name],
  });
}

/** A tab with nothing in it but what the link uses; `answers` is asked for each call to the server. */
function tab(answers, localStorage = storage(), inspector = HALE) {
  const calls = [];
  const timers = [];
  const context = vm.createContext({
    crypto: globalThis.crypto,
    navigator: {},
    location: { reload() { context.reloaded = true; } },
    localStorage,
    setTimeout: (work, delay) => timers.push({ work, delay }),
    fetch: async (path, request) => {
      calls.push({ path, ...JSON.parse(request.body) });
      return answers(calls.length, calls.at(-1));
    },
  });
  const program = ["outbox.js", "sender.js", "link.js"].map(text).join("\n");
  vm.runInContext(`${program}\nObject.assign(globalThis, { Link, wellFormed });`, context);
  const link = new context.Link(() => {});
  link.verdicts.received = () => {};
  link.holder = "h";
  link.take("pass", inspector);
  const post = (uid, more = {}) => link.verdicts.post({ uid, verdict: "accept", ...more }, `piece of ${uid}`);
  const label = (uid) => link.labels.post({ uid, label: "mark" }, `finding of ${uid}`);
  return { link, post, label, calls, timers, localStorage, context };
}

const good = (receipts) => ({ ok: true, status: 200, json: async () => ({ receipts }) });
const bad = (status, error) => ({ ok: false, status, json: async () => ({ error }) });
const settled = () => new Promise((done) => setImmediate(done));
const all = (_, call) => good(call.verdicts.map(({ uid }) => ({ uid, outcome: "stored", detail: "" })));
const labelsToo = (_, call) => good((call.verdicts ?? call.labels).map(({ uid }) => ({ uid, outcome: "stored", detail: "" })));
const away = () => { throw new Error("away"); };
const sent = (calls) => calls.map((call) => call.verdicts.map(({ uid }) => uid));

test("a verdict leaves the outbox when the store has it", async () => {
  const { link, post, calls, localStorage } = tab(all);
  post("a", { verdict: "reject" });
  assert.equal(Object.keys(localStorage).length, 1);
  await settled();
  assert.equal(link.verdicts.unsent.length, 0);
  assert.equal(calls.length, 1);
  assert.equal(calls[0].path, "/desk/verdicts");
  assert.deepEqual(Object.keys(localStorage), []);
});

test("a server that is away costs no verdict, and is tried again after longer and longer", async () => {
  const { link, post, timers, localStorage } = tab((count, call) => (count < 4 ? away() : all(count, call)));
  post("a");
  for (const delay of [500, 1000, 2000]) {
    await settled();
    assert.deepEqual(timers.map((one) => one.delay), [delay]);
    assert.equal(Object.keys(localStorage).length, 1);
    assert.notEqual(link.verdicts.trouble, "");
    timers.pop().work();
  }
  await settled();
  assert.equal(link.verdicts.unsent.length, 0);
  assert.equal(link.verdicts.trouble, "");
});

test("what came while sending is sent after, in the order given", async () => {
  let open;
  const waiting = new Promise((done) => { open = done; });
  const { link, post, calls } = tab(async (count, call) => {
    if (count === 1) await waiting;
    return all(count, call);
  });
  for (const uid of "abcde") post(uid);
  assert.equal(calls.length, 1);
  open();
  await settled();
  await settled();
  assert.deepEqual(sent(calls), [["a"], ["b", "c", "d", "e"]]);
  assert.equal(link.verdicts.unsent.length, 0);
});

test("tabs of one browser keep each their own, and whichever is open sends all of that person's", async () => {
  const shared = storage();
  const [one, two] = [tab(away, shared), tab(away, shared)];
  one.post("a");
  two.post("b");
  one.post("c");
  await settled();
  assert.deepEqual(Object.keys(shared).length, 3);
  const later = tab(all, shared);
  await settled();
  assert.deepEqual(sent(later.calls), [["a", "b", "c"]]);
  assert.equal(one.link.verdicts.unsent.length, 0);
});

test("another person's are told by name, and sent by that person alone", async () => {
  const shared = storage();
  const hale = tab(away, shared);
  hale.post("a");
  hale.post("b");
  await settled();
  const okafor = tab(all, shared, "M. Okafor");
  okafor.post("c");
  await settled();
  assert.deepEqual(sent(okafor.calls), [["c"]]);
  assert.deepEqual({ ...okafor.link.verdicts.outbox.ofOthers("M. Okafor") }, { [HALE]: 2 });
});

test("one that the server can't take blocks no other, and stays with its words", async () => {
  const poison = (_, call) => (call.verdicts.some(({ uid }) => uid === "x") ? bad(400, "can't be read") : all(_, call));
  for (const at of [0, 3, 6]) {
    const { link, post, timers } = tab(poison);
    link.verdicts.sending = true; // until all of them wait
    for (let k = 0; k < 7; k += 1) post(k === at ? "x" : `v${k}`);
    link.verdicts.sending = false;
    await link.verdicts.flush();
    assert.equal(link.verdicts.unsent.length, 0);
    assert.deepEqual(timers, []);
    assert.deepEqual(Array.from(link.verdicts.outbox.refused(), ({ name, refused }) => [name, refused]), [["piece of x", "can't be read"]]);
    link.verdicts.outbox.remove("x");
    assert.equal(link.verdicts.outbox.refused().length, 0);
  }
});

test("one on which the server fails is tried again, the others first", async () => {
  let mended = false;
  const { link, post, timers } = tab((_, call) => (!mended && call.verdicts.some(({ uid }) => uid === "x") ? bad(500, "") : all(_, call)));
  link.verdicts.sending = true;
  for (const uid of ["x", "a", "b"]) post(uid);
  link.verdicts.sending = false;
  await link.verdicts.flush();
  assert.deepEqual(Array.from(link.verdicts.unsent, ({ uid }) => uid), ["x"]);
  assert.notEqual(link.verdicts.trouble, "");
  mended = true;
  timers.pop().work();
  await settled();
  assert.equal(link.verdicts.unsent.length, 0);
});

test("what the store refused is kept and shown", async () => {
  const { link, post } = tab((_, call) => good(call.verdicts.map(({ uid }) => ({ uid, outcome: "refused", detail: "changed since" }))));
  post("a");
  await settled();
  assert.equal(link.verdicts.unsent.length, 0);
  assert.deepEqual(Array.from(link.verdicts.outbox.refused(), ({ refused }) => refused), ["changed since"]);
});

test("a browser that keeps nothing sends all the same, and says that it keeps nothing", async () => {
  const none = { getItem: away, setItem: away, removeItem: away };
  let down = true;
  const { link, post, timers } = tab((_, call) => (down ? away() : all(_, call)), none);
  post("a");
  await settled();
  assert.equal(link.verdicts.outbox.isKept(), false);
  down = false;
  timers.pop().work();
  await settled();
  assert.equal(link.verdicts.unsent.length, 0);
  assert.equal(link.verdicts.outbox.isKept(), true);
});

test("a pass of another server loads the page anew, once the outbox is kept", async () => {
  const { link, post, context } = tab(() => bad(401, "load it again"));
  post("a");
  await settled();
  assert.equal(context.reloaded, true);
  assert.equal(link.verdicts.unsent.length, 1);
});

test("half a sign is no text", () => {
  const { context } = tab(all);
  assert.equal(context.wellFormed("rim \u{1F944} \ud83e"), "rim \u{1F944} \ufffd");
});

test("labels go their own way, one call after the other in the order given, and leave the outbox when the store has them", async () => {
  const { link, label, calls, localStorage } = tab(labelsToo);
  link.labels.sending = true;
  for (const uid of "abc") label(uid);
  link.labels.sending = false;
  await link.flush();
  await settled();
  assert.deepEqual(calls.map(({ path, labels }) => [path, labels.map(({ uid }) => uid)]), [["/desk/labels", ["a", "b", "c"]]]);
  assert.equal(link.waiting, 0);
  assert.deepEqual(Object.keys(localStorage), []);
});

test("a label that can't be sent holds up no verdict, and outlives the page", async () => {
  const { link, post, label, localStorage } = tab((_, call) => (call.labels ? away() : labelsToo(_, call)));
  label("a");
  post("b");
  await settled();
  assert.deepEqual([link.verdicts.unsent.length, link.labels.unsent.length, link.waiting], [0, 1, 1]);
  assert.notEqual(link.trouble, "");
  const later = tab(labelsToo, localStorage);
  await settled();
  assert.equal(later.link.waiting, 0);
  assert.deepEqual(later.calls.map(({ path }) => path), ["/desk/labels"]);
});

test("a label that the store refused is told, and no verdict's words are", async () => {
  const { link, label } = tab((_, call) => good(call.labels.map(({ uid }) => ({ uid, outcome: "refused", detail: "load the page again" }))));
  label("a");
  await settled();
  assert.deepEqual(Array.from(link.labels.outbox.refused(), ({ name, refused }) => [name, refused]), [["finding of a", "load the page again"]]);
  assert.equal(link.verdicts.outbox.refused().length, 0);
});

test("a verdict that a page of before kept is sent", async () => {
  const kept = { inspector: HALE, at: 1, name: "T-1, piece 1", verdict: { uid: "old", verdict: "accept" } };
  const { calls } = tab(all, storage({ "brightbowl.unsent.old": JSON.stringify(kept) }));
  await settled();
  assert.deepEqual(sent(calls), [["old"]]);
});
