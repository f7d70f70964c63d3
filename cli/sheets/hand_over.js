// What a page hands over: lines of JSON with a sum over them (CRC-32, IEEE 802.3), copied or saved as a file.
"use strict";
const handOver = (() => {
  const crc = (text) => {
    let sum = -1;
    for (const byte of new TextEncoder().encode(text)) {
      sum ^= byte;
      for (let k = 0; k < 8; k++) sum = (sum >>> 1) ^ (sum & 1 ? 0xedb88320 : 0);
    }
    return ((sum ^ -1) >>> 0).toString(16).padStart(8, "0");
  };
  const textOf = (objects) => {
    const lines = objects.map((one) => JSON.stringify(one));
    return `${lines.join("\n")}\n${JSON.stringify({ end: lines.length - 1, sum: crc(lines.join("\n") + "\n") })}\n`;
  };
  // Whether the text came to the clipboard; where that is not allowed it stands marked in its box.
  const copy = async (text, box) => {
    try {
      await navigator.clipboard.writeText(text);
      return true;
    } catch {
      box.focus();
      box.select();
      try { return document.execCommand("copy"); } catch { return false; }
    }
  };
  const keep = (text, name) => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "text/plain" }));
    link.download = name;
    link.click();
    window.setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  };
  return Object.freeze({ crc, textOf, copy, keep });
})();
