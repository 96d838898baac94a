// A field that narrows a table to the rows that hold all its words: <input data-filter="ID OF THE TABLE">.

for (const field of document.querySelectorAll("input[data-filter]")) {
  const table = document.getElementById(field.dataset.filter);
  const rows = [...table.tBodies].flatMap((body) => [...body.rows]);
  const narrow = () => {
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const row of rows) {
      const text = row.textContent.toLowerCase();
      row.hidden = !words.every((word) => text.includes(word));
    }
  };
  field.addEventListener("input", narrow);
  narrow();
}
