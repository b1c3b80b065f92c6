// Unpacks what the page holds and runs its script, whose hash the policy names.
async function unpacked(id) {
  const packed = document.getElementById(id).textContent.trim();
  const bytes = Uint8Array.from(atob(packed), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Response(stream).arrayBuffer();
}
function failed(error) {
  const fault = document.getElementById('fault');
  fault.textContent = `This browser does not run the page: ${error.message}`;
  fault.hidden = false;
}
(async () => {
  const script = document.createElement('script');
  script.textContent = new TextDecoder().decode(await unpacked('script'));
  document.head.append(script);
})().catch(failed);
