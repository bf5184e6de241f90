// Long work as lines: how far it is, a button to cancel, the file that came of it, or why it failed. Work goes on without the page.

import { ProgramError, ask, element } from "./frame.js";
import { fixed } from "./numbers.js";
import { words } from "./words.js";

const text = words.jobs;
const POLL_MS = 700;

/** Fill a choice with the formats that the program can write; one whose library is missing says so and cannot be chosen. */
export async function offerFormats(select) {
  for (const { name, title, missing } of await ask("/api/export-formats")) {
    const option = new Option(words.output.forms[name] ?? title, name);
    option.disabled = missing !== null;
    option.title = missing ?? "";
    select.add(option);
  }
}

export class JobLines {
  /** @param box where the lines stand  @param mine which jobs belong here  @param onEnd called with each job that ends */
  constructor(box, mine, onEnd = (_job) => {}) {
    this.box = box;
    this.mine = mine;
    this.onEnd = onEnd;
    this.lines = new Map();
    this.waiting = null;
  }

  /** Show what was begun before the page was opened. */
  async read() {
    const jobs = (await ask("/api/jobs")).filter(this.mine).filter((job) => job.file !== null || !over(job));
    for (const job of jobs.reverse()) this.show(job);
    this.poll();
  }

  /** Start a job; throws `ProgramError` when it is not taken. */
  async start(kind, options) {
    const job = await ask(`/api/jobs/${kind}`, { method: "POST", body: options });
    this.show(job);
    this.poll();
    return job;
  }

  poll() {
    clearTimeout(this.waiting);
    if (![...this.lines.values()].some(({ job }) => !over(job))) return;
    this.waiting = setTimeout(async () => {
      for (const { job } of [...this.lines.values()].filter((line) => !over(line.job))) {
        try {
          this.show(await ask(`/api/jobs/${job.id}`));
        } catch (error) {
          this.lines.get(job.id).words.textContent = error.message; // it goes on; the next poll may succeed
        }
      }
      this.poll();
    }, POLL_MS);
  }

  show(job) {
    const line = this.lines.get(job.id) ?? this.line(job);
    const ended = over(job) && !over(line.job);
    line.job = job;
    const name = text.kinds[job.kind];
    const done = job.file === null ? text.done(name) : text.doneFile(name, sizeText(job.file.bytes));
    const said = {
      waiting: text.waiting(name),
      running: text.running(name, fixed(job.progress * 100, 0)),
      done,
      cancelled: text.cancelled(name),
    };
    line.words.textContent = job.state === "failed" ? failure(name, job.error) : said[job.state];
    line.words.setAttribute("role", over(job) ? "status" : "presentation"); // only its end is announced, not every percent
    line.bar.hidden = over(job);
    line.bar.value = job.progress;
    line.bar.setAttribute("aria-label", name);
    line.cancel.hidden = over(job) || !job.cancellable;
    line.file.hidden = job.file === null || job.state !== "done";
    if (job.file !== null) {
      line.file.href = `/api/jobs/${job.id}/file`;
      line.file.textContent = text.fetch(job.file.name);
    }
    if (ended) this.onEnd(job);
  }

  line(job) {
    const node = element("li", "job");
    const line = {
      job,
      node,
      words: element("span"),
      bar: element("progress"),
      cancel: element("button", "", text.cancel),
      file: element("a"),
    };
    line.bar.max = 1;
    line.cancel.type = "button";
    line.cancel.addEventListener("click", async () => {
      try {
        this.show(await ask(`/api/jobs/${job.id}/cancel`, { method: "POST", body: {} }));
      } catch (error) {
        line.words.textContent = `${error.message} ${error.then ?? ""}`;
      }
    });
    line.file.download = "";
    node.append(line.words, line.bar, line.cancel, line.file);
    this.box.prepend(node);
    this.lines.set(job.id, line);
    return line;
  }
}

export function sizeText(bytes) {
  if (bytes >= 1e9) return `${fixed(bytes / 1e9, 1)} GB`;
  return bytes >= 1e6 ? `${fixed(bytes / 1e6, 1)} MB` : `${fixed(bytes / 1e3, 0)} kB`;
}

function over(job) {
  return !["waiting", "running"].includes(job.state);
}

function failure(name, error) {
  const problem = error === null ? null : new ProgramError(error);
  return [text.failed(name), problem?.what, problem?.said, problem?.then].filter(Boolean).join(" ");
}
