// History of the file: every revision, newest first, and a way back to each.

import type { Mount } from "../bench";
import { Ends, h } from "../dom";
import type { Version } from "../protocol";

const AT_FIRST = 12;
const MORE = 100;
/** What stood in the file when the bench first saw it. */
const FOUND = 1;

export const history: Mount = (host, bench) => {
  const ends = new Ends();
  const list = h("ol", { class: "versions" });
  const more = h("button", { hidden: true, onclick: () => { most += MORE; void fill(); } }, "Show older ones");
  const none = h("p", { class: "quiet" }, "Nothing was changed on this bench yet.");
  const element = h("div", { class: "history" }, none, list, more);
  host.append(element);
  let most = AT_FIRST;
  let shownRev = -1;

  async function fill(): Promise<void> {
    const newest = await bench.fetchJson<Version[]>(`api/history?most=${Math.min(most, 1000)}`).catch(() => []);
    const now = newest[0]?.rev;
    const whole = newest.at(-1)?.rev === FOUND + 1;
    none.hidden = newest.length > 0;
    list.replaceChildren(
      ...newest.map(({ rev, when, by, says }) => line(rev, says || "A change", `${at(when)}, ${by === bench.who ? "here" : by === "" ? "by hand" : "another device"}`, rev === now)),
      ...(whole ? [line(FOUND, "As the bench found the file", "before all this", false)] : []),
    );
    more.hidden = !newest.length || whole;
  }

  function line(rev: number, says: string, of: string, now: boolean): HTMLElement {
    return h(
      "li",
      {},
      h("span", { class: "says" }, says),
      h("span", { class: "quiet" }, of),
      now ? h("span", { class: "quiet" }, "as it is now") : h("button", { "aria-label": `Go back to: ${says}, ${of}`, onclick: () => void bench.backTo(rev) }, "Go back to this"),
    );
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
