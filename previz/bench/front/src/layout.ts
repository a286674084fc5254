// Where the papers lie: one column on a phone, two on a tablet, more on a wide screen. Papers are moved, never made anew.

import type { Bench, Mount, Paper } from "./bench";
import { h } from "./dom";

export interface Sheet {
  /** Short, as on the tape that holds the paper. */
  name: string;
  /** In words, for a screen reader. */
  title: string;
  mount: Mount;
}

/**
 * From the widest down: the first whose width fits is taken. Columns left to right, papers top to bottom. On a phone they lie under one
 * another; the picture stays in sight beside what changes it, which is the first.
 */
const ARRANGEMENTS: { from: number; columns: string[][] }[] = [
  { from: 2500, columns: [["plan", "section"], ["lens", "time"], ["wall", "walk round"], ["findings", "the thing"], ["papers", "files", "history", "share"]] },
  { from: 1240, columns: [["plan", "section", "share", "history"], ["lens", "time", "findings"], ["the thing", "wall", "walk round", "papers", "files"]] },
  { from: 740, columns: [["lens", "time", "findings", "walk round", "papers", "history"], ["plan", "section", "the thing", "wall", "files", "share"]] },
  { from: 0, columns: [["lens", "time", "plan", "section", "wall", "findings", "the thing"], ["walk round", "papers", "files", "history", "share"]] },
];

const idOf = (name: string): string => `paper-${name.replace(/ /g, "-")}`;

export function layOut(host: HTMLElement, bench: Bench, sheets: Sheet[]): void {
  const papers = new Map<string, HTMLElement>();
  const mounted: Paper[] = [];
  for (const { name, title, mount } of sheets) {
    const body = h("div", { class: "body" });
    const paper = h("section", { class: "paper", id: idOf(name), "aria-label": title, tabindex: -1 }, h("h2", { class: "tape" }, name), body);
    papers.set(name, paper);
    mounted.push(mount(body, bench));
  }
  const table = h("main", { class: "worktop" });
  const tabs = h("nav", { class: "tabs", "aria-label": "Papers" });
  for (const { name } of sheets) tabs.append(h("a", { href: `#${idOf(name)}` }, name));
  host.append(table, tabs);

  let now = -1;
  const arrange = (): void => {
    const wide = document.documentElement.clientWidth;
    const chosen = ARRANGEMENTS.findIndex(({ from }) => wide >= from);
    if (chosen === now) return;
    now = chosen;
    const columns = ARRANGEMENTS[chosen]!.columns.map((names) => {
      const column = h("div", { class: "column" });
      for (const name of names) {
        const paper = papers.get(name);
        if (paper) column.append(paper);
      }
      return column;
    });
    table.dataset.columns = String(columns.length);
    table.replaceChildren(...columns);
  };
  addEventListener("resize", arrange);
  const lens = papers.get("lens");
  if (lens) new ResizeObserver(() => document.documentElement.style.setProperty("--in-sight", `${lens.offsetHeight}px`)).observe(lens);
  arrange();
}
