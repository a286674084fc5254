// Two changed the same: the page asks, key by key, and nothing is lost meanwhile.

import { h } from "./dom";
import { isPoint, placeSays } from "./drafting/values";
import type { Told, Value } from "./protocol";
import type { BenchState } from "./state";
import { asTyped, keyWords } from "./words";

/** Keys that hold a place of the set. */
const PLACES = ["at", "toward", "from", "to", "look", "focus"];
const BY_HAND = "the file, by hand";

/** A value as the drawings say it where it is a place, else as it is typed. */
const asRead = (key: Told, value: Value): string => (isPoint(value) && PLACES.includes(String(key[key.length - 1])) ? placeSays(value) : asTyped(value));

export function placeQuestion(host: HTMLElement, bench: BenchState): void {
  const dialog = h("dialog", { class: "paper question", "aria-labelledby": "question-title" });
  host.append(dialog);
  bench.question.on((question) => {
    if (!question) {
      if (dialog.open) dialog.close();
      return;
    }
    const choices = question.conflicts.map((conflict, index) => {
      const group = `conflict-${index}`;
      const mine = h("input", { type: "radio", name: group, id: `${group}-mine` });
      const theirs = h("input", { type: "radio", name: group, id: `${group}-theirs`, checked: true });
      const row = h(
        "fieldset",
        {},
        h("legend", {}, keyWords(conflict.key)),
        h("p", { class: "quiet" }, `It was ${asRead(conflict.key, conflict.was)}.`),
        h("div", { class: "choice" }, mine, h("label", { for: mine.id }, `mine: ${asRead(conflict.key, conflict.yours)}`)),
        h("div", { class: "choice" }, theirs, h("label", { for: theirs.id }, `${conflict.by === BY_HAND ? "in the file" : "theirs"}: ${asRead(conflict.key, conflict.theirs)}`)),
      );
      return { mine, row };
    });
    const form = h(
      "form",
      { onsubmit: (event: SubmitEvent) => { event.preventDefault(); question.answer(choices.map(({ mine }) => mine.checked)); } },
      h("h2", { class: "tape", id: "question-title" }, "both changed this"),
      h("p", {}, `While you changed this, ${question.conflicts.every(({ by }) => by === BY_HAND) ? "it was typed into the file by hand" : "another device changed it"} too. Which is right?`),
      ...choices.map(({ row }) => row),
      h("div", { class: "buttons" },
        h("button", { class: "strong", value: "keep" }, "Keep these"),
        // of one key, that is what "theirs" says
        choices.length > 1 && h("button", { type: "button", onclick: () => question.answer(null) }, "Drop my whole change")),
    );
    dialog.replaceChildren(form);
    dialog.oncancel = (event) => {
      event.preventDefault();
      question.answer(null);
    };
    if (!dialog.open) dialog.showModal();
  });
}
