// What the page says: to a screen reader at once, and on a slip of paper for as long as it takes to read.

import { h } from "./dom";

const SHORTEST_MS = 4000;
const MS_A_LETTER = 70;

const polite = h("div", { class: "unseen", role: "status", "aria-live": "polite" });
const assertive = h("div", { class: "unseen", role: "alert", "aria-live": "assertive" });
const slips = h("div", { class: "slips", "aria-hidden": "true" });

export function placeSays(host: HTMLElement): void {
  host.append(polite, assertive, slips);
}

export function said(text: string, tone: "polite" | "assertive" = "polite"): void {
  if (!text) return;
  (tone === "polite" ? polite : assertive).textContent = text;
  for (const old of [...slips.children].slice(0, -2)) old.remove();
  const slip = h("div", { class: `slip ${tone}`, onclick: () => slip.remove() }, text);
  slips.append(slip);
  setTimeout(() => slip.remove(), SHORTEST_MS + MS_A_LETTER * text.length);
}
