// An address at which there is no page: it says so, and leads to those that there are.

import { frame } from "./frame.js";
import { words } from "./words.js";

await frame("");
document.title = `${words.product}: ${words.nowhere.title}`;
