// Elements in one line: h("button", { class: "plain", onclick: go }, "Undo").

type Child = Node | string | null | false | undefined;
type Attributes = Record<string, string | number | boolean | null | undefined | ((event: any) => void)>;

function dress(element: Element, attributes: Attributes): void {
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") element.addEventListener(name.replace(/^on/, ""), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== null && value !== undefined && value !== false) element.setAttribute(name, String(value));
  }
}

export function h<K extends keyof HTMLElementTagNameMap>(tag: K, attributes: Attributes = {}, ...children: Child[]): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  dress(element, attributes);
  element.append(...children.filter((child): child is Node | string => child !== null && child !== undefined && child !== false));
  return element;
}

export function svg<K extends keyof SVGElementTagNameMap>(tag: K, attributes: Attributes = {}, ...children: (SVGElement | string)[]): SVGElementTagNameMap[K] {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  dress(element, attributes);
  element.append(...children);
  return element;
}

/** Ends of what a paper watches, to be called together when it is put away. */
export class Ends {
  private readonly ends: (() => void)[] = [];
  add(...ends: (() => void)[]): void {
    this.ends.push(...ends);
  }
  all(): void {
    for (const end of this.ends.splice(0)) end();
  }
  /** A paper that ends with these. */
  paper(element: HTMLElement): { element: HTMLElement; dispose(): void } {
    return {
      element,
      dispose: () => {
        this.all();
        element.remove();
      },
    };
  }
}
