"""What a stranger's file could use is not there: no pickle, no eval, no shell, no live template."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2] / "linesim"
MODULES = {
    "pickle",
    "cPickle",
    "dill",
    "joblib",
    "marshal",
    "shelve",
    "subprocess",
    "ctypes",
    "code",
}
CALLS = {"eval", "exec", "compile", "__import__", "system", "popen", "spawnl", "spawnv", "execv"}
OURS = ("style | safe", 'inline_svg(id ~ "-") | safe', "script | safe")
"""What a page takes as it is: its own look and script, and drawings that linesim made."""


def name_of(call: ast.Call) -> str:
    """Name what is called, without what it is called on."""
    at = call.func
    return at.attr if isinstance(at, ast.Attribute) else getattr(at, "id", "")


def owner_of(call: ast.Call) -> str:
    """Name what it is called on, if that is a plain name."""
    at = call.func
    return getattr(at.value, "id", "") if isinstance(at, ast.Attribute) else ""


def imported(node: ast.AST) -> list[str]:
    """List the modules of an import."""
    if isinstance(node, ast.Import):
        return [each.name for each in node.names]
    return [str(node.module)] if isinstance(node, ast.ImportFrom) else []


def is_on(word: ast.keyword) -> bool:
    """Tell whether an argument is the word True."""
    return isinstance(word.value, ast.Constant) and word.value.value is True


def called(node: ast.AST) -> list[str]:
    """List what is wrong with a call."""
    if not isinstance(node, ast.Call):
        return []
    runs = name_of(node) in CALLS and owner_of(node) in ("", "os", "builtins")
    on = [str(word.arg) for word in node.keywords if word.arg in ("allow_pickle", "shell")]
    off = [word for word in node.keywords if word.arg == "autoescape" and not is_on(word)]
    return [name_of(node)] * runs + on + ["autoescape"] * len(off)


def slips(tree: ast.AST) -> list[str]:
    """Find what may run what it reads."""
    nodes = [
        node for node in ast.walk(tree) if isinstance(node, ast.Call | ast.Import | ast.ImportFrom)
    ]
    modules = [name for node in nodes for name in imported(node) if name.split(".")[0] in MODULES]
    return modules + [slip for node in nodes for slip in called(node)]


def test_nothing_runs_what_it_reads() -> None:
    """Files, options and titles are data and nothing else."""
    found = {
        path.relative_to(ROOT).as_posix(): slips(ast.parse(path.read_text("utf-8")))
        for path in ROOT.rglob("*.py")
    }
    assert len(found) > 100
    assert {name: each for name, each in found.items() if each} == {}


def test_templates_mark_nothing_as_safe() -> None:
    """Whatever is inserted into a page is escaped, but for what linesim itself has made."""
    pages = sorted(ROOT.rglob("*.j2"))
    assert pages
    for page in pages:
        text = page.read_text("utf-8")
        for ours in OURS:
            text = text.replace(ours, "")
        assert "|safe" not in text.replace(" ", ""), page
        assert "autoescape false" not in text, page


def test_the_search_finds_what_it_should() -> None:
    """Each kind of slip, and no plain code."""
    bad = (
        "import pickle\nfrom subprocess import run\neval('1')\nos.system('x')\n"
        "np.load('a', allow_pickle=True)\nf(shell=True)\nEnvironment(autoescape=False)"
    )
    assert len(slips(ast.parse(bad))) == 7
    assert slips(ast.parse("re.compile('a')\ntomllib.load(f)\nmodel.eval()")) == []
