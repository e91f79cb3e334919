// The rules for the scripts of the pages; types are tsc's.
import js from "@eslint/js";
import globals from "globals";

export default [
  { ignores: ["static/vendor/**"] },
  js.configs.recommended,
  {
    files: ["static/**/*.js"],
    languageOptions: { globals: { ...globals.browser, htmx: "readonly" } },
    rules: {
      curly: ["error", "multi-line"],
      eqeqeq: "error",
      "no-implicit-globals": "error",
      "no-shadow": "error",
      "no-var": "error",
      "prefer-const": "error",
    },
  },
];
