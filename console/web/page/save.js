// SPDX-License-Identifier: Apache-2.0

// Hands a file or a text to who sits at the screen. It must not ask the box.

/** Keeps a file where the browser keeps them. @param {Blob} blob @param {string} name */
export function saveFile(blob, name) {
  const url = URL.createObjectURL(blob);
  const a = Object.assign(document.createElement("a"), { href: url, download: name });
  document.body.append(a);
  a.click();
  a.remove();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

/** A file as the address of a picture. @param {Blob} blob @returns {Promise<string>} */
export function asPicture(blob) {
  return new Promise((done, failed) => {
    const r = new FileReader();
    r.onload = () => done(String(r.result));
    r.onerror = () => failed(new Error("the picture cannot be read"));
    r.readAsDataURL(blob);
  });
}

/** Copies a text; whether it could. @param {string} text */
export async function copyText(text) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return false;
  }
}
