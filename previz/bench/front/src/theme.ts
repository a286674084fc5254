// Day or evening: as the device has it, or as the maker wants it on this one.

import { signal } from "./signal";

export type Theme = "system" | "light" | "dark";
const KEPT = "previz.theme";

export const theme = signal<Theme>((localStorage.getItem(KEPT) as Theme | null) ?? "system");

/** Dress the page, now and whenever the device or the maker changes it. */
export function followTheme(): void {
  const evening = matchMedia("(prefers-color-scheme: dark)");
  const dress = (): void => {
    const chosen = theme.get();
    localStorage.setItem(KEPT, chosen);
    document.documentElement.dataset.theme = chosen === "system" ? (evening.matches ? "dark" : "light") : chosen;
  };
  evening.addEventListener("change", dress);
  theme.on(dress);
}
