// The stamp that says which sources a page was built from; .packaging/stamp.py reads it.

import { createHash } from "node:crypto";
import { readdirSync, readFileSync } from "node:fs";
import { relative, resolve, sep } from "node:path";
import type { Plugin } from "vite";

const NOT_SOURCES = ["node_modules", ".vite"];

export function stamp(): Plugin {
  return {
    name: "stamp",
    apply: "build",
    generateBundle() {
      const front = import.meta.dirname;
      const names = readdirSync(front, { recursive: true, withFileTypes: true })
        .filter((entry) => entry.isFile())
        .map((entry) => relative(front, resolve(entry.parentPath, entry.name)).split(sep))
        .filter((parts) => !parts.some((part) => NOT_SOURCES.includes(part)))
        .map((parts) => parts.join("/"))
        .sort();
      const source = names.map((name) => `${createHash("sha256").update(readFileSync(resolve(front, name))).digest("hex")}  ${name}\n`).join("");
      this.emitFile({ type: "asset", fileName: "sources.sha256", source });
    },
  };
}
