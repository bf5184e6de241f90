// An address at which there is no page: it says so, and leads to those that there are.

import { frame } from "../lib/frame.js";
import { words } from "../lib/words.js";

await frame("");
document.title = `${words.product}: ${words.notFound.title}`;
