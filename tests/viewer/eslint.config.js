import js from "@eslint/js";

// The files of the viewer are joined to one program, so names of one stand in others: the checker of types knows them.
const viewer = {
  files: ["**/app/pages/viewer/*.js"],
  ignores: ["**/component.js"],
  languageOptions: { sourceType: "script" },
  rules: {
    "no-undef": "off",
    "no-unused-vars": ["error", { vars: "local" }],
    "no-shadow": ["error", { builtinGlobals: false }],
  },
};

export default [
  js.configs.recommended,
  { rules: { eqeqeq: "error", "no-var": "error", "prefer-const": "error" } },
  viewer,
  { files: ["**/component.js"], rules: { "no-undef": "off" } },
  { files: ["**/*.mjs"], languageOptions: { globals: { globalThis: "readonly", setImmediate: "readonly", URL: "readonly" } } },
];
