// History of the file: every revision, newest first, and a way back to each.

import type { Mount } from "../bench";
import { Ends, h } from "../dom";
import type { Version } from "../protocol";

const AT_FIRST = 12;

export const history: Mount = (host, bench) => {
  const ends = new Ends();
  const list = h("ol", { class: "versions" });
  const more = h("button", { hidden: true, onclick: () => { all = true; void fill(); } }, "Show all");
  const none = h("p", { class: "quiet" }, "Nothing was changed on this bench yet.");
  const element = h("div", { class: "history" }, none, list, more);
  host.append(element);
  let all = false;
  let shownRev = -1;

  async function fill(): Promise<void> {
    const versions = await bench.fetchJson<Version[] | { versions: Version[] }>("api/history").then((told) => (Array.isArray(told) ? told : told.versions)).catch(() => []);
    const newest = [...versions].sort((a, b) => b.rev - a.rev);
    const now = newest[0]?.rev;
    none.hidden = newest.length > 0;
    list.replaceChildren(
      ...newest.slice(0, all ? undefined : AT_FIRST).map(({ rev, when, by, says }) =>
        h(
          "li",
          {},
          h("span", { class: "says" }, says || "A change"),
          h("span", { class: "quiet" }, `${at(when)}, ${by === bench.who ? "here" : by === "" ? "by hand" : "another device"}`),
          rev === now ? h("span", { class: "quiet" }, "as it is now") : h("button", { "aria-label": `Go back to: ${says}, ${at(when)}`, onclick: () => void bench.backTo(rev) }, "Go back to this"),
        ),
      ),
    );
    more.hidden = all || newest.length <= AT_FIRST;
    more.textContent = `Show all ${newest.length}`;
  }

  ends.add(
    bench.scene.on(({ rev }) => {
      if (rev >= 0 && rev !== shownRev) {
        shownRev = rev;
        void fill();
      }
    }),
  );
  return ends.paper(element);
};

function at(when: string): string {
  const time = new Date(when);
  if (Number.isNaN(time.getTime())) return when;
  const today = new Date().toDateString() === time.toDateString();
  return time.toLocaleString("en-GB", today ? { hour: "2-digit", minute: "2-digit" } : { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
}
