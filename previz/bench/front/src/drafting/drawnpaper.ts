// What plan, section and wall have in common: a sheet with grips, redrawn when scene, drawing or a drag change.

import type { Bench, Paper } from "../bench";
import { Ends, h, svg } from "../dom";
import type { SceneDoc } from "../protocol";
import { Grips } from "./grips";
import { Scenes } from "./scenes";
import { type Box, Sheet } from "./sheet";
import { soon } from "./soon";
import { trying } from "./trying";

export abstract class DrawnPaper implements Paper {
  readonly element: HTMLElement;
  protected readonly sheet: Sheet;
  protected readonly grips: Grips;
  protected readonly lines = svg("g", { class: "over-lines", "aria-hidden": "true" });
  protected readonly words = svg("g", { class: "words", "aria-hidden": "true" });
  protected readonly scenes = new Scenes();
  protected readonly soon = soon(() => this.draw());
  protected readonly ends = new Ends();

  protected constructor(
    host: HTMLElement,
    protected readonly bench: Bench,
    kind: string,
    label: string,
    hasMore: boolean,
  ) {
    this.sheet = new Sheet(label, () => this.draw(), () => this.box(false), hasMore ? () => this.box(true) : null);
    this.grips = new Grips(this.sheet, bench, () => this.draw());
    this.sheet.over.append(this.lines, this.grips.layer, this.words);
    this.element = h("div", { class: `drawing ${kind}` }, this.sheet.element, this.grips.refused);
    host.append(this.element);
  }

  protected abstract draw(): void;
  /** What to fit, in millimetres of the sheet: the set, or everything. */
  protected abstract box(everything: boolean): Box | null;
  protected abstract newDrawing(): void;

  /** Begin to watch the bench; to be called when all that is drawn with is there. */
  protected watch(): void {
    const redraw = () => this.soon.ask();
    this.ends.add(
      this.bench.scene.on((doc) => this.newScene(doc)),
      this.bench.drawing.on(() => this.newDrawing()),
      this.bench.theirTry.on(redraw),
      trying(this.bench).on(redraw),
    );
  }

  protected newScene(doc: SceneDoc): void {
    this.scenes.keep(doc);
    this.grips.arrived(doc.rev);
    this.soon.ask();
  }

  dispose(): void {
    this.soon.stop();
    this.ends.all();
    this.grips.dispose();
    this.sheet.dispose();
    this.element.remove();
  }
}
