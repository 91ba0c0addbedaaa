// SPDX-License-Identifier: Apache-2.0

// Joins the list of records.

import { render } from "./vendor/lit-html.js";
import { getJSON, root } from "./screen.js";
import { records } from "./view-records.js";

const place = root();
render(records(null, ""), place);
getJSON("/api/records").then(
  (value) => render(records(/** @type {import("./state-record.js").Line[]} */ (Array.isArray(value) ? value : []), Array.isArray(value) ? "" : "The list could not be read."), place),
  (/** @type {unknown} */ err) => render(records(null, `The records could not be read (${err instanceof Error ? err.message : String(err)}).`), place),
);
