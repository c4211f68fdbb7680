// What the scripts of several pieces need. The package puts it before each of them (`piece.script`): a widget's script
// cannot import a file of ours, and every widget loads a copy of its own, so the count of ids belongs to the page.
const IDS = Symbol.for("piezolab.ids");
function fresh(stem) {
  window[IDS] = (window[IDS] ?? 0) + 1;
  return `${stem}-${window[IDS]}`;
}

// An element; attributes that are true stand without a value, others that are false or missing are left out, as are
// missing children.
function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) node.setAttribute(name, "");
    else if (value !== false && value !== undefined && value !== null) node.setAttribute(name, value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

