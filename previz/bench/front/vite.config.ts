import { defineConfig } from "vite";
import { stamp } from "./stamp.ts";

// Relative addresses, nothing inlined (the page's security policy allows no inline code and no data addresses for code),
// and the built page beside this folder, where the server and the wheel take it from.
export default defineConfig({
  base: "./",
  publicDir: false,
  plugins: [stamp()],
  build: { outDir: "../page", emptyOutDir: true, assetsInlineLimit: 0, target: "es2022", chunkSizeWarningLimit: 900, reportCompressedSize: false },
  server: { proxy: { "/api": "http://127.0.0.1:8765", "/socket": { target: "ws://127.0.0.1:8765", ws: true } } },
});
