// The checks beside the page, so that it does not stand still while a large image is judged; or in it, where a browser lets no
// worker start from a file.
//
// Messages to the worker: {id, ask, request}, where `ask` is one of ANSWERS. From it: {id, step, state} while it works, then
// {id, answer}, or {id, fault} for a fault of ours.

import { checkBundle } from "./check.js";
import { confirmBundle } from "./confirm.js";
import { lookAtFiles, packParcel } from "./parcel_work.js";
import { lacking } from "./platform.js";

const ANSWERS = {
  lacking: () => lacking(),
  check: (request, onStep) => checkBundle({ ...request, onStep }),
  confirm: (request) => confirmBundle(request),
  look: (request) => lookAtFiles(request),
  pack: (request, onStep) => packParcel(request, onStep),
};

export function serveChecks(scope) {
  scope.onmessage = async ({ data: { id, ask, request } }) => {
    try {
      const onStep = (step, state) => scope.postMessage({ id, step, state });
      const answer = await ANSWERS[ask](request, onStep);
      scope.postMessage({ id, answer }, ask === "pack" && answer.bytes !== undefined ? [answer.bytes.buffer] : []);
    } catch (fault) {
      scope.postMessage({ id, fault: String(fault) });
    }
  };
}

class WorkerChecker {
  constructor(worker) {
    this.worker = worker;
    this.asked = new Map();  // by id: {resolve, reject, onStep}
    worker.onmessage = ({ data }) => this.receive(data);
    worker.onerror = (event) => this.giveUp(event.message);
  }

  receive({ id, step, state, answer, fault }) {
    const { resolve, reject, onStep } = this.asked.get(id);
    if (step !== undefined) {
      onStep(step, state);
      return;
    }
    this.asked.delete(id);
    if (fault === undefined) resolve(answer);
    else reject(new Error(fault));
  }

  giveUp(message) {
    for (const { reject } of this.asked.values()) reject(new Error(message));
    this.asked.clear();
  }

  ask(question, onStep = () => {}) {
    const id = this.asked.size === 0 ? 1 : Math.max(...this.asked.keys()) + 1;
    return new Promise((resolve, reject) => {
      this.asked.set(id, { resolve, reject, onStep });
      this.worker.postMessage({ id, ...question });
    });
  }

  lacking() {
    return this.ask({ ask: "lacking" });
  }

  check(request, onStep) {
    return this.ask({ ask: "check", request }, onStep);
  }

  confirm(request) {
    return this.ask({ ask: "confirm", request });
  }

  look(request) {
    return this.ask({ ask: "look", request });
  }

  pack(request, onStep) {
    return this.ask({ ask: "pack", request }, onStep);
  }
}

// A checker with lacking(), check(request, onStep), confirm(request), look(request) and pack(request, onStep); `source` is the text of this very script.
export async function makeChecker(source) {
  try {
    const worker = new Worker(URL.createObjectURL(new Blob([source], { type: "text/javascript" })));
    const checker = new WorkerChecker(worker);
    await checker.lacking();
    return checker;
  } catch {
    return ANSWERS;
  }
}
