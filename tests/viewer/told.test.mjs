// Streamlit's dialog on a lost server is closed as it comes. Run by `node --test tests/viewer/`.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const PROGRAM = readFileSync(new URL("../../app/pages/viewer/told.js", import.meta.url), "utf8");

test("a dialog of Streamlit's is closed as it comes, and another one after it; none once the bench has gone", () => {
  const body = {};
  const shown = [];
  let closed = 0;
  let changed = null;
  class MutationObserver {
    constructor(work) {
      this.work = work;
    }

    observe(node) {
      assert.equal(node, body);
      changed = this.work;
    }

    disconnect() {
      changed = null;
    }
  }
  const comes = () => {
    shown.push({ click: () => { closed += 1; shown.pop(); } });
    changed?.();
  };
  const document = { body, querySelectorAll: (words) => (/stDialog.*Close/.test(words) ? [...shown] : []) };
  const context = vm.createContext({ document, MutationObserver });
  vm.runInContext(`${PROGRAM}\nObject.assign(globalThis, { closeDialogs });`, context);
  const watch = context.closeDialogs();
  comes();
  comes();
  assert.deepEqual([closed, shown.length], [2, 0]);
  watch.disconnect();
  comes();
  assert.deepEqual([closed, shown.length], [2, 1]);
});
