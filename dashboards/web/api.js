// Asking and ordering. An error is an Error whose message a person can read.
export async function get(address, signal) {
  const answer = await fetch(address, { cache: "no-store", signal });
  return read(answer);
}

export async function post(address, body) {
  const answer = await fetch(address, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
  return read(answer);
}

/** A blob as it is; its type is the content type. */
export async function post_bytes(address, blob) {
  return read(await fetch(address, { method: "POST", headers: { "Content-Type": blob.type }, body: blob }));
}

async function read(answer) {
  const text = await answer.text();
  let json = null;
  try {
    json = JSON.parse(text);
  } catch {
    // Said below.
  }
  if (answer.ok && json) return json;
  if (json?.error) throw new Error(json.hint ? `${json.error} (${json.hint})` : json.error);
  throw new Error(`the daemon answered ${answer.status} without saying why`);
}

export const unit_address = (name) => `/api/v1/units/${encodeURIComponent(name)}`;
