"""
What axe-core finds wrong with a page in a browser.

It comes inside of the package selenium-axe-python (MPL 2.0), so that a machine with pip has it.
Its rules for WCAG 2.2, levels A and AA, and for good practice are held; where a rule cannot tell
(letters over a picture, say), it says so and finds nothing.
"""

from importlib.resources import files

from selenium.webdriver import Chrome

AXE = files("selenium_axe_python") / "axe-core" / "axe.min.js"
FOUND = """
const [within, done] = arguments;
const values = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
axe.run(within, { runOnly: { type: "tag", values } }).then(({ passes, violations }) => done([
  passes.length,
  violations.map(({ id, nodes }) => `${id}: ${nodes[0].html.slice(0, 120)}`),
]));
"""
FEW = 12
"""Rules at least that a page must give work to: fewer, and it was not there yet."""


def faults(driver: Chrome, within: str = "html") -> list[str]:
    """Give each rule that a page breaks, with the first place where it does."""
    driver.execute_script(AXE.read_text("utf-8"))
    passed, broken = driver.execute_async_script(FOUND, within)
    assert passed + len(broken) >= FEW
    return [str(each) for each in broken]
