import js from "@eslint/js";
import typescript from "typescript-eslint";

// Text from a file reaches the page as text only: nothing that parses HTML or code.
const parsers = ["innerHTML", "outerHTML", "insertAdjacentHTML", "srcdoc", "write", "writeln"];

export default typescript.config(
  { ignores: ["node_modules/**"] },
  js.configs.recommended,
  {
    files: ["src/**/*.ts"],
    extends: [...typescript.configs.strictTypeChecked],
    languageOptions: { parserOptions: { project: "./tsconfig.json" } },
    rules: {
      "max-lines": ["error", 400],
      "max-params": ["error", 6],
      "no-eval": "error",
      "no-implied-eval": "error",
      "no-restricted-properties": ["error", ...parsers.map((property) => ({ property }))],
      "@typescript-eslint/restrict-template-expressions": ["error", { allowNumber: true }],
      "@typescript-eslint/no-non-null-assertion": "error",
    },
  },
  { files: ["*.mjs"], languageOptions: { globals: { console: "readonly", process: "readonly" } } },
);
