/* Sums the points while they are typed: of all positions, and of the parts of each. The server sums anew on saving. */

const number = (text) => Number(text.trim().replace(",", ".")) || 0;
const said = (value) => String(Math.round(value * 10) / 10);

function sum(output) {
  const form = output.closest("form");
  const fields = [...form.querySelectorAll("[data-points]")];
  const whole = output.dataset.sum;
  const have = fields.filter((field) => field.dataset.whole === whole).reduce((so_far, field) => so_far + number(field.value), 0);
  const wanted = whole ? number(fields.find((field) => field.dataset.code === whole).value) : Number(output.dataset.wanted);
  const off = Math.round((wanted - have) * 10) / 10;
  const rest = off === 0 ? "" : off > 0 ? `: ${said(off)} missing` : `: ${said(-off)} too many`;
  output.textContent = `${whole ? "Its parts" : "The positions"} add up to ${said(have)} of ${said(wanted)} points${rest}.`;
  output.classList.toggle("edition-off", off !== 0);
}

const outputs = [...document.querySelectorAll("output[data-sum]")];
const all = () => outputs.forEach(sum);
document.addEventListener("input", (event) => event.target.matches("[data-points]") && all());
all();
