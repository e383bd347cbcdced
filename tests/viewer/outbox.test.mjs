// The outbox of the viewer: it empties only when the store has a verdict. Run by `node --test tests/viewer/`.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const PROGRAM = readFileSync(new URL("../../app/pages/viewer/link.js", import.meta.url), "utf8");

/** A browser with nothing in it but what the link uses; `answers` is asked for each call to the server. */
function browser(answers, storage = new Map()) {
  const calls = [];
  const timers = [];
  const context = vm.createContext({
    crypto: globalThis.crypto,
    navigator: {},
    location: { reload() { context.reloaded = true; } },
    localStorage: {
      getItem: (name) => storage.get(name) ?? null,
      setItem: (name, value) => storage.set(name, value),
    },
    setTimeout: (work, delay) => timers.push({ work, delay }),
    fetch: async (path, request) => {
      calls.push({ path, ...JSON.parse(request.body) });
      return answers(calls.length, calls.at(-1));
    },
  });
  vm.runInContext(`${PROGRAM}\nglobalThis.Link = Link;`, context);
  const link = new context.Link(() => {});
  link.received = () => {};
  link.holder = "h";
  link.take("pass", "R. Hale");
  return { link, calls, timers, storage, context };
}

const good = (receipts) => ({ ok: true, status: 200, json: async () => ({ receipts }) });
const settled = () => new Promise((done) => setImmediate(done));
const all = (_, call) => good(call.verdicts.map(({ uid }) => ({ uid })));

test("a verdict leaves the outbox when the store has it", async () => {
  const { link, calls, storage } = browser(all);
  link.post({ uid: "a", verdict: "reject" });
  await settled();
  assert.equal(link.outbox.length, 0);
  assert.equal(calls.length, 1);
  assert.equal(calls[0].path, "/desk/verdicts");
  assert.equal(storage.get("brightbowl.outbox.R. Hale"), "[]");
});

test("a server that is away costs no verdict, and is tried again after longer and longer", async () => {
  const { link, timers, storage } = browser((count, call) => {
    if (count < 4) throw new Error("away");
    return all(count, call);
  });
  link.post({ uid: "a" });
  for (const delay of [500, 1000, 2000]) {
    await settled();
    assert.deepEqual(timers.map((one) => one.delay), [delay]);
    assert.equal(JSON.parse(storage.get("brightbowl.outbox.R. Hale")).length, 1);
    assert.notEqual(link.trouble, "");
    timers.pop().work();
  }
  await settled();
  assert.equal(link.outbox.length, 0);
  assert.equal(link.trouble, "");
});

test("what was not received stays, and what came while sending is sent after", async () => {
  let open;
  const waiting = new Promise((done) => { open = done; });
  const { link, calls } = browser(async (count, call) => {
    if (count === 1) await waiting;
    return all(count, call);
  });
  link.post({ uid: "a" });
  link.post({ uid: "b" });
  assert.equal(calls.length, 1);
  open();
  await settled();
  await settled();
  assert.deepEqual(calls.map((call) => call.verdicts.map(({ uid }) => uid)), [["a"], ["b"]]);
  assert.equal(link.outbox.length, 0);
});

test("the outbox outlives the page and belongs to its person", async () => {
  const { link, storage } = browser(() => { throw new Error("away"); });
  link.post({ uid: "a" });
  await settled();
  const again = browser(all, storage);
  await settled();
  assert.deepEqual(again.calls[0].verdicts.map(({ uid }) => uid), ["a"]);
  const other = browser(all, new Map([["brightbowl.outbox.R. Hale", "[]"], ["brightbowl.outbox.M. Okafor", '[{"uid":"z"}]']]));
  assert.equal(other.calls.length, 0);
});

test("a pass of another server loads the page anew, once the outbox is kept", async () => {
  const { link, context } = browser(() => ({ ok: false, status: 401, json: async () => ({ error: "load it again" }) }));
  link.post({ uid: "a" });
  await settled();
  assert.equal(context.reloaded, true);
  assert.equal(link.outbox.length, 1);
});
