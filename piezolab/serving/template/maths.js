// Sets the formulas of a page. The front end knows one way to do that: it loads a typesetter from an address and
// calls it by the interface of MathJax 2, from a content network as a rule. This file answers to that interface
// and hands the formulas to temml (TeX to MathML, MIT), which is loaded when the first formula turns up.
//
// Only what an author wrote is set: a notebook's prose and the blocks marked for it (block.js). Anything else may hold
// words of a visitor, and a dollar in those is a dollar.
(() => {
  "use strict";
  const here = document.currentScript.src;
  const DELIMITERS = [
    { left: "$$", right: "$$", display: true },
    { left: "\\[", right: "\\]", display: true },
    { left: "\\(", right: "\\)", display: false },
    { left: "$", right: "$", display: false },
  ];
  const WRITTEN = ".pz-formulas, .jp-MarkdownCell";
  let temml = null;

  function load() {
    temml ??= new Promise((resolve, reject) => {
      const script = document.createElement("script");
      script.src = new URL("temml-0.13.5.min.js", here).href;
      // The formulas' face comes with it: drawn in another one they would jump.
      const face = document.fonts.load('1em "piezolab maths"').catch(() => {});
      script.addEventListener("load", () => face.then(() => resolve(window.temml)));
      script.addEventListener("error", reject);
      document.head.append(script);
    });
    return temml;
  }

  async function typeset(node) {
    const parts = node.closest(WRITTEN) ? [node] : node.querySelectorAll(WRITTEN);
    for (const part of parts) {
      if (!/\$[^$]+\$|\\[([]/.test(part.textContent)) continue;
      (await load()).renderMathInElement(part, { delimiters: DELIMITERS, throwOnError: false });
    }
  }

  window.MathJax = {
    Ajax: {},
    InputJax: { TeX: { resetEquationNumbers() {} } },
    Hub: {
      Config() {},
      Configured() {},
      Register: { StartupHook: (_name, then) => then() },
      Queue([kind, , node] = []) {
        if (kind === "Typeset" && node) typeset(node).catch(console.error);
      },
    },
  };
})();
