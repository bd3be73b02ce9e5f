// Bundles src/ into ../built: bench.js and bench.css, each headed by the digest of its sources.
// `node build.mjs --check` writes nothing and fails where what is kept there differs.
import { createHash } from "node:crypto";
import { readFileSync, readdirSync, writeFileSync } from "node:fs";
import { dirname, join, relative, sep } from "node:path";
import { fileURLToPath } from "node:url";
import { build } from "esbuild";

const here = dirname(fileURLToPath(import.meta.url));
const built = join(here, "..", "built");

function filesUnder(folder) {
  return readdirSync(folder, { withFileTypes: true, recursive: true })
    .filter((each) => each.isFile())
    .map((each) => join(each.parentPath, each.name));
}

// Names and contents in the order of their names, so that any machine finds the same.
function digest() {
  const hash = createHash("sha256");
  const names = filesUnder(join(here, "src")).map((file) => relative(here, file).split(sep).join("/"));
  for (const name of names.sort()) {
    hash.update(`${name}\0`).update(readFileSync(join(here, name))).update("\0");
  }
  return hash.digest("hex");
}

const result = await build({
  entryPoints: { bench: join(here, "src", "main.ts"), style: join(here, "src", "bench.css") },
  absWorkingDir: here,
  outdir: built,
  entryNames: "bench",
  bundle: true,
  write: false,
  format: "iife",
  target: "es2022",
  charset: "utf8",
  legalComments: "none",
  loader: { ".glsl": "text" },
});

const banner = `/* sources sha256: ${digest()} */\n`;
let stale = 0;
for (const file of result.outputFiles) {
  const text = banner + file.text;
  const name = relative(built, file.path);
  if (process.argv.includes("--check")) {
    if (readFileSync(file.path, "utf8") !== text) {
      console.error(`${name} is not what its sources give: npm run build`);
      stale += 1;
    }
  } else {
    writeFileSync(file.path, text);
    console.log(`${name}: ${text.length} bytes`);
  }
}
process.exitCode = stale ? 1 : 0;
