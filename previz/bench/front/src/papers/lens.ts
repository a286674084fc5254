// The lens paper: the engine's picture of the moment, low while something moves, fine when still; the move played over it.

import type { Bench, Mount } from "../bench";
import { Ends, h } from "../dom";
import type { PictureNews } from "../protocol";
import type { Levels } from "../play/levels";
import { seenAt } from "../seen";
import { seconds } from "../words";

const STEP_S = 0.05;
/** Pixels across that the browser is asked to draw while playing. */
const LARGEST_PLAYED = 1280;

/** The take's length and how it runs on screen; one second where the drawing is not there yet. */
function lengths(bench: Bench): { takeS: number; clipS: number } {
  const shot = bench.drawing.get()?.shots.find(({ name }) => name === bench.shot.get());
  return { takeS: shot?.take_s ?? 1, clipS: shot?.clip_s ?? 1 };
}

function ratioOf(bench: Bench): string {
  const resolution = (bench.scene.get().scene.body as { resolution?: [number, number] } | undefined)?.resolution;
  return resolution ? `${resolution[0]} / ${resolution[1]}` : "16 / 9";
}

export const lens: Mount = (host, bench) => {
  const ends = new Ends();
  const picker = h("select", { id: "shot", "aria-label": "Shot", onchange: () => { bench.takeS.set(0); bench.shot.set(picker.value); } });
  const moment = h("output", { class: "moment", for: "moment-slider", "aria-live": "off" });
  const slider = h("input", {
    id: "moment-slider", type: "range", min: 0, max: 1, step: STEP_S, value: 0, "aria-label": "Moment of the take",
    oninput: () => bench.takeS.set(Number(slider.value)),
  });
  const play = h("button", { class: "strong", onclick: () => void turn() }, "Play the move");
  const asFiled = h("button", { hidden: true, onclick: () => close() }, "Back to the engine's picture");
  const image = h("img", { alt: "", decoding: "async" });
  const busy = h("span", { class: "busy", hidden: true });
  const mark = h("span", { class: "lens-mark", hidden: true, "aria-hidden": "true" });
  const stage = h("div", { class: "view" }, image, mark, busy);
  const mixing = h("div", { class: "mixing", hidden: true });
  const element = h(
    "div",
    { class: "through-lens" },
    h("div", { class: "row" }, picker, play, asFiled, h("span", { class: "grow" }), moment),
    stage,
    slider,
    mixing,
  );
  host.append(element);
  let playing: Levels | null = null;
  let packRev = -1;
  let frame = 0;
  let drawing = 0;
  let last = 0;

  // ------------------------------------------------------------------ the engine's pictures
  let latest = 0;
  async function take(news: PictureNews | null): Promise<void> {
    if (!news || news.n < latest) return;
    latest = news.n;
    const next = new Image();
    next.src = `api/picture/${news.n}`;
    try {
      await next.decode();
    } catch {
      return; // Gone already: a newer one is on its way.
    }
    if (news.n < latest) return;
    image.src = next.src;
    image.alt = `Through the lens: ${news.shot}, ${seconds(news.take_s)} into the take.`;
    element.dataset.grade = news.grade;
    element.dataset.n = String(news.n);
    element.dataset.rev = String(news.rev);
    if (bench.drawing.get()) document.documentElement.dataset.ready = "1";
  }
  ends.add(bench.picture.on((news) => void take(news)));

  // ------------------------------------------------------------------ what is asked for
  const size = new ResizeObserver(() => {
    const seen = stage.getBoundingClientRect();
    bench.look(seen.width ? seen.width * Math.min(devicePixelRatio, 2) : 0);
  });
  size.observe(stage);
  ends.add(() => size.disconnect());

  ends.add(
    bench.scene.on(({ scene }) => {
      const names = (scene.shot ?? []).map(({ name }) => name ?? "");
      if (names.join("\n") !== [...picker.options].map(({ value }) => value).join("\n")) picker.replaceChildren(...names.map((name) => h("option", { value: name }, name)));
      picker.value = bench.shot.get();
      stage.style.setProperty("aspect-ratio", ratioOf(bench));
    }),
    bench.shot.on((shot) => {
      picker.value = shot;
      close();
      told();
    }),
    bench.drawing.on(told),
    bench.takeS.on(told),
    bench.pointed.on((point) => {
      const shot = bench.drawing.get()?.shots.find(({ name }) => name === bench.shot.get());
      const seen = shot && point?.at ? seenAt(shot, bench.takeS.get(), point.at) : null;
      mark.hidden = !seen;
      if (seen) [mark.style.left, mark.style.top] = seen.map((share) => `${100 * share}%`) as [string, string];
    }),
    bench.working.on((working) => {
      const what = ["picture", "light"].filter((one) => one in working);
      busy.hidden = !what.length;
      busy.textContent = what.includes("light") ? "light is worked out" : "drawing";
      stage.setAttribute("aria-busy", String(what.length > 0));
    }),
  );

  function told(): void {
    const { takeS, clipS } = lengths(bench);
    const now = Math.min(bench.takeS.get(), takeS);
    slider.max = String(takeS);
    slider.value = String(now);
    slider.setAttribute("aria-valuetext", `${seconds(now)} of the take of ${seconds(takeS)}`);
    moment.textContent = `take ${seconds(now)} of ${seconds(takeS)} · screen ${seconds((now / takeS) * clipS)}`;
  }

  // ------------------------------------------------------------------ playing
  async function turn(): Promise<void> {
    if (bench.playing.get()) return pause();
    play.disabled = true;
    try {
      if (!playing || packRev !== bench.scene.get().rev) {
        close();
        packRev = bench.scene.get().rev;
        busy.hidden = false;
        busy.textContent = "the move is packed";
        const { levels } = await import("../play/levels");
        playing = await levels(bench, bench.shot.get(), redraw);
        const width = Math.min(LARGEST_PLAYED, stage.clientWidth * devicePixelRatio);
        playing.player.resize(Math.round(width), Math.round((width * stage.clientHeight) / stage.clientWidth));
        stage.append(playing.canvas);
        mixing.replaceChildren(playing.panel);
      }
    } catch (fault) {
      bench.say(fault instanceof Error ? fault.message : String(fault), "assertive");
      close();
      return;
    } finally {
      play.disabled = false;
      busy.hidden = true;
    }
    mixing.hidden = asFiled.hidden = false;
    if (bench.takeS.get() >= lengths(bench).takeS - 1e-3) bench.takeS.set(0);
    bench.playing.set(true);
    play.textContent = "Stop here";
    element.classList.add("played");
    last = performance.now();
    frame = requestAnimationFrame(step);
  }

  function step(now: number): void {
    const { takeS, clipS } = lengths(bench);
    const next = bench.takeS.get() + ((now - last) / 1000) * (takeS / clipS);
    last = now;
    bench.takeS.set(next > takeS ? 0 : next);
    playing?.player.run(bench.takeS.get());
    frame = requestAnimationFrame(step);
  }

  /** However many levels and moments change: once a picture of the screen. */
  function redraw(): void {
    drawing ||= requestAnimationFrame(() => {
      drawing = 0;
      if (!bench.playing.get()) playing?.player.draw(bench.takeS.get());
    });
  }

  function pause(): void {
    cancelAnimationFrame(frame);
    bench.playing.set(false);
    redraw();
    play.textContent = "Play the move";
  }

  function close(): void {
    pause();
    playing?.dispose();
    playing = null;
    mixing.hidden = asFiled.hidden = true;
    element.classList.remove("played");
  }
  ends.add(
    bench.takeS.on(() => {
      if (!bench.playing.get()) redraw();
    }),
  );

  return {
    element,
    dispose() {
      close();
      bench.look(0);
      ends.all();
      element.remove();
    },
  };
};
