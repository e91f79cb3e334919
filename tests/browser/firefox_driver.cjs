// Loaded into Playwright's driver where the browser tests run in Firefox (tests/README.md): its
// WebDriver BiDi asks for a command for media features that Firefox ESR does not know.
const fs = require("fs");
const Module = require("module");

const ASKED = /await this\._(session|browser\._browserSession)\.send\("emulation\.setMediaFeaturesOverride"/g;
const load = Module._extensions[".js"];
Module._extensions[".js"] = (module, file) => {
  if (!file.endsWith("coreBundle.js")) return load(module, file);
  module._compile(fs.readFileSync(file, "utf8").replace(ASKED, "await (async () => {})(0"), file);
};
