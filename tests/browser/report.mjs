// The reports of litters, each a page that stands alone: on one sheet of either paper, on a phone, in the dark, without a script, and by its own
// policy. Litter 1 of the fixture is the longest and saddest that a page is likely to meet.
import assert from "node:assert/strict";
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { address, audit, noSideways, open, shots, shut, text } from "./page.mjs";

const sheets = (pdf) => pdf.toString("latin1").match(/\/Type\s*\/Page(?![a-z])/gi).length;

test("a report prints on one sheet of either paper", async () => {
  const page = await open("calm", { width: 1100, height: 900 });
  for (const litter of [1, 2, 3]) {
    await page.goto(`${address}litter/${litter}`);
    for (const format of ["A4", "Letter"]) {
      const pdf = await page.pdf({ format });
      writeFileSync(join(shots, `litter-${litter}-${format}.pdf`), pdf);
      assert.equal(sheets(pdf), 1, `litter ${litter} on ${format}`);
    }
  }
  await shut(page);
});

for (const [litter, theme, width] of [[1, "light", 1100], [1, "dark", 360], [3, "light", 360]]) {
  test(`the report of litter ${litter}, ${width} px, ${theme}`, async () => {
    const page = await open("calm", { width, height: 740, theme });
    await page.goto(`${address}litter/${litter}`);
    await page.locator("summary").click();
    await audit(page, "axe-core");
    assert.ok(await noSideways(page), "the page scrolls sideways");
    await page.screenshot({ path: join(shots, `litter-${litter}-${theme}-${width}.png`), fullPage: true });
    await shut(page);
  });
}

test("a doe's name is text, and the drawing has a table that says the same", async () => {
  const page = await open("calm");
  await page.goto(`${address}litters`);
  await audit(page, "axe-core, list");
  await page.getByRole("link", { name: /Hazel/ }).click();
  assert.match(await text(page, "h1"), /^Litter 1 of <b>Hazel<\/b> "of the long meadow" & her sister$/);
  assert.equal(await page.locator("h1 b, script").count(), 0);
  await page.locator("summary").click();
  assert.equal(await page.locator("details tbody tr").count(), 57);
  assert.equal(await page.locator("svg desc").count(), 1);
  await page.goto(`${address}litter/9`);
  assert.match(await text(page, "body"), /no litter has the number 9/);
  page.wrongs = page.wrongs.filter((w) => !w.includes("404"));
  await shut(page);
});
