// Papers to make: a form for each, and above them what is being made and what came of it, the newest first.

import type { Mount } from "../bench";
import { Ends, h } from "../dom";
import { card } from "./asking";
import { made, type Made } from "./made";
import { VERBS } from "./verbs";

/** How many stand open to the eye; those before them are folded away. */
const RECENT = 4;

export const jobs: Mount = (host, bench) => {
  const ends = new Ends();
  const list = h("ul", { class: "jobs", "aria-label": "What was asked for" });
  const before = h("ul", { class: "jobs", "aria-label": "What was asked for earlier" });
  const summary = h("summary", {});
  const earlier = h("details", { class: "earlier" }, summary, before);
  const element = h("div", { class: "making" }, list, earlier, ...VERBS.map((verb) => card(bench, verb, ends)));
  host.append(element);
  const shown = new Map<string, Made>();

  ends.add(
    bench.jobs.on((now) => {
      for (const [id, old] of shown) {
        if (now.some(({ job }) => job === id)) continue;
        old.element.remove();
        shown.delete(id);
      }
      for (const job of [...now].reverse()) {
        const known = shown.get(job.job);
        if (known) {
          known.show(job);
          continue;
        }
        for (const older of shown.values()) older.fold();
        const one = made(bench, job);
        shown.set(job.job, one);
        list.prepend(one.element);
        while (list.children.length > RECENT) before.prepend(list.lastElementChild!);
      }
      list.hidden = !now.length;
      earlier.hidden = !before.children.length;
      summary.textContent = `Earlier: ${before.children.length}`;
    }),
  );
  return ends.paper(element);
};
