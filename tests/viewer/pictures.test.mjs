// Pictures on their way: those that are not here yet are waited for. Run by `node --test tests/viewer/`.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const PROGRAM = readFileSync(new URL("../../app/pages/viewer/pictures.js", import.meta.url), "utf8");

test("what is not here yet is waited for, a picture that fails too; what is here is not", async () => {
  const asked = new Map();
  class Image {
    set src(url) {
      asked.set(url, this);
    }

    decode() {
      return Promise.resolve();
    }
  }
  const context = vm.createContext({ Image, fetch: async () => ({ text: async () => "gone" }) });
  vm.runInContext(`${PROGRAM}\nObject.assign(globalThis, { Pictures });`, context);
  const pictures = new context.Pictures();
  const lights = [{ url: "a" }, { url: "b" }];
  let all = false;
  const late = pictures.late(lights).then(() => { all = true; });
  asked.get("a").onload();
  await pictures.get("a").done;
  assert.equal(all, false);
  asked.get("b").onerror();
  await late;
  assert.equal(pictures.get("b").failed, "gone");
  assert.equal(pictures.late(lights), null);
});
