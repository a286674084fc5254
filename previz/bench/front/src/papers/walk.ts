// Walk round the set: a model on the table, lit as the engine has it, the walls before it cut away. What draws it is loaded when it is first in view.

import type { Mount } from "../bench";
import { Ends, h } from "../dom";
import type { Round } from "../play/round";

const LATER_MS = 400;

export const walk: Mount = (host, bench) => {
  const canvas = h("canvas", { class: "round", tabindex: 0, role: "img", "aria-label": "The set from outside. Arrow keys go round it, plus and minus nearer and farther." });
  const says = h("p", { class: "empty" }, "The set is being lit.");
  const view = (name: string, words: string): HTMLElement => h("button", { type: "button", onclick: () => round?.from(name) }, words);
  const buttons = h("div", { class: "buttons" }, view("front", "from the open side"), view("left", "from the left"), view("right", "from the right"), view("above", "from above"));
  const element = h("div", { class: "round-paper" }, says, canvas, buttons);
  canvas.hidden = true;
  buttons.hidden = true;
  host.append(element);

  const ends = new Ends();
  let round: Round | null = null;
  let seen = false;
  let gone = false;
  let shown = -1;
  let timer = 0;
  let loading = false;

  async function load(): Promise<void> {
    const rev = bench.drawing.get()?.rev;
    if (rev === undefined || rev === shown || loading || gone) return;
    loading = true;
    try {
      const [{ Round: Made }, pack] = await Promise.all([import("../play/round"), bench.fetchBuffer("api/walk")]);
      if (gone) return;
      round ??= new Made(canvas, bench);
      says.hidden = true;
      canvas.hidden = buttons.hidden = false;
      round.fit();
      round.show(pack);
      shown = rev;
      element.dataset.rev = String(rev);
    } catch (error) {
      if (shown < 0) says.textContent = error instanceof Error ? error.message : String(error);
    } finally {
      loading = false;
      if (!gone && bench.drawing.get()?.rev !== shown && shown >= 0) later();
    }
  }

  // The model is lit anew when nothing has been changed for a while; marks, shafts and lens follow at once.
  function later(): void {
    clearTimeout(timer);
    if (seen) timer = window.setTimeout(() => void load(), shown < 0 ? 0 : LATER_MS);
  }

  const watcher = new IntersectionObserver((entries) => {
    seen = entries.some((entry) => entry.isIntersecting);
    later();
  });
  watcher.observe(element);
  const sized = new ResizeObserver(() => round?.fit());
  sized.observe(element);
  ends.add(bench.drawing.on(later));
  return {
    element,
    dispose() {
      gone = true;
      clearTimeout(timer);
      watcher.disconnect();
      sized.disconnect();
      ends.all();
      round?.dispose();
      element.remove();
    },
  };
};
