// Sound that stands in the page as text; taken out of it, so that it is held once.
function bytesIn(id) {
  const node = document.getElementById(id), text = node.textContent;
  node.remove();
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text).buffer;
  const raw = atob(text), out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i += 1) out[i] = raw.charCodeAt(i);
  return out.buffer;
}

// Codecs pad the start and browsers differ in what they take off: count from the mark.
function startOf(buffer, { lead_s, mark_s }) {
  const n = Math.round((lead_s - 0.05) * buffer.sampleRate);
  const samples = buffer.getChannelData(0);
  let peak = 0;
  for (let i = 1; i < n; i += 1) if (Math.abs(samples[i]) > Math.abs(samples[peak])) peak = i;
  if (Math.abs(samples[peak]) < 0.02) return lead_s;
  return peak / buffer.sampleRate + lead_s - mark_s;
}
