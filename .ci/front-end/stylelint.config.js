// The standard rules, but for two.
export default {
  extends: "stylelint-config-standard",
  ignoreFiles: ["static/vendor/**"],
  rules: {
    // A sheet stands in the order of the page. The rule compares every two selectors that end alike,
    // also those that never meet in one element, and would sort the sheet by specificity.
    "no-descending-specificity": null,
    // Safari on iOS knows this property only with its prefix (MDN's compatibility data).
    "property-no-vendor-prefix": [true, { ignoreProperties: ["-webkit-text-size-adjust"] }],
  },
};
