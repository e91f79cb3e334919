// The standard rules; those about blank lines and names are the look of the files, left to us.
export default {
  extends: "stylelint-config-standard",
  ignoreFiles: ["static/vendor/**"],
};
