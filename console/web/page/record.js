// SPDX-License-Identifier: Apache-2.0

// Joins one record; its run stands last in the address.

import { render } from "./vendor/lit-html.js";
import { getJSON, root } from "./screen.js";
import { readRecord } from "./state-record.js";
import { record } from "./view-records.js";

const place = root();
const run = location.pathname.split("/").at(-1) ?? "";
render(record(null, ""), place);
getJSON(`/api/records/${run}`).then(
  (value) => {
    try {
      const full = readRecord(value);
      document.body.classList.toggle("practising", Boolean(full.practice));
      render(record(full, ""), place);
    } catch (err) {
      render(record(null, `This record cannot be shown (${err instanceof Error ? err.message : String(err)}).`), place);
    }
  },
  (/** @type {unknown} */ err) => render(record(null, `The record could not be read (${err instanceof Error ? err.message : String(err)}).`), place),
);
