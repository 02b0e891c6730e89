// Where the script begins, as the page and as its own worker.

import { startPage } from "./ui.js";
import { serveChecks } from "./worker.js";

if (typeof document === "undefined") serveChecks(globalThis);
else startPage(document.currentScript.textContent);
