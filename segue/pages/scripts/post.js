"use strict";
const byId = (id) => document.getElementById(id);

async function post(path, values) {
  const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(values) });
  return { ok: answer.ok, status: answer.status, ...(await answer.json()) };
}
