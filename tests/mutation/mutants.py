#!/usr/bin/env python3
"""Rates the unit tests of the domain: makes small wrong changes (mutants) and counts those that no test notices.

    pip install tree-sitter tree-sitter-rust
    python3 tests/mutation/mutants.py units castings estimating sourcing shopfloor
    python3 tests/mutation/mutants.py units --sample 1/4        # a quarter, drawn by a fixed seed
    python3 tests/mutation/mutants.py --figures                 # every figure of the tables of units, one up and one down

The changes are of the kinds that cargo-mutants makes: another operator, a body replaced by a value, a match arm or guard taken away,
a sign deleted. That tool builds anew for each; here all of them are built into one binary, each behind a number that the
environment names, so that one takes a run of the tests and no build (mutant schemata: Untch, Offutt and Harrold 1993, from
memory). The domain is copied into small packages beside the build output, one for each module, so that nothing else is
built. What does not compile is dropped. Of a module only its own tests count; examples in the documentation do not.
"""

import argparse
import itertools
import json
import os
import pathlib
import random
import re
import shutil
import subprocess

ROOT = pathlib.Path(__file__).resolve().parents[2]
# What each module is built on.
MODULES = {
    "units": [],
    "castings": ["units"],
    "estimating": ["units", "castings"],
    "sourcing": ["units", "castings", "estimating"],
    "shopfloor": ["units", "castings", "estimating"],
}
OTHER = {
    "==": ["!="], "!=": ["=="], "<": ["==", ">", "<="], ">": ["==", "<", ">="], "<=": [">"], ">=": ["<"],
    "+": ["-", "*"], "-": ["+", "/"], "*": ["+", "/"], "/": ["%", "*"], "%": ["/", "+"],
    "<<": [">>"], ">>": ["<<"], "&": ["|", "^"], "|": ["&", "^"], "^": ["|", "&"], "&&": ["||"], "||": ["&&"],
    "+=": ["-=", "*="], "-=": ["+=", "/="], "*=": ["+=", "/="], "/=": ["%=", "*="], "%=": ["/=", "+="],
}
COMPARES = ("==", "!=", "<", ">", "<=", ">=")
# Copied as they stand: they are no code that runs, or cannot ask the environment.
LEFT = {
    "const_item", "static_item", "macro_invocation", "attribute_item", "inner_attribute_item", "line_comment",
    "block_comment", "type_arguments", "macro_definition", "array_type", "enum_variant",
}
SWITCH = """
pub fn mutant(id: u32) -> bool {
    static CHOSEN: std::sync::OnceLock<u32> = std::sync::OnceLock::new();
    let read = || std::env::var("MUTANT").ok().and_then(|text| text.parse().ok()).unwrap_or(0);
    *CHOSEN.get_or_init(read) == id
}
"""
# Tables of figures: file, types of the constants.
FIGURES = {
    "fit.rs": r"\[i32; 13\]|\[\[i32; 13\]; 10\]|\[u32; 13\]|\[u32; 20\]|\[i32; 22\]",
    "gauge.rs": r"\[i64; 13\]|\[Grade; 8\]",
    "thread/tables.rs": r"\[\(u32, u32\); \d+\]|\[\(u32, u32, u32, Option<u32>\); 20\]",
    "thread/pipe.rs": r"\[Iso7; 10\]|\[Npt; 12\]",
}


def values(kind):
    """What a function of this type may return instead."""
    if kind is None:
        return ["()"]
    kind = kind.strip()
    fixed = {"bool": ["true", "false"], "String": ["String::new()", '"xyzzy".into()']}
    if kind in fixed:
        return fixed[kind]
    if kind in ("&str", "&'static str"):
        return ['""', '"xyzzy"']
    if kind.startswith(("impl", "!", "&")):
        return []
    if re.fullmatch(r"u\d+|usize", kind):
        return ["0", "1"]
    if re.fullmatch(r"i\d+|isize", kind):
        return ["0", "1", "-1"]
    if kind in ("f32", "f64"):
        return ["0.0", "1.0", "-1.0"]
    if re.fullmatch(r"(\w+::)*Result", kind):
        return ["Ok(Default::default())"]
    if found := re.fullmatch(r"(?:\w+::)*Result<(.*)>", kind, re.S):
        return [f"Ok({one})" for one in values(parts(found[1])[0])]
    if found := re.fullmatch(r"Option<(.*)>", kind, re.S):
        return ["None"] + [f"Some({one})" for one in values(found[1])]
    if found := re.fullmatch(r"Vec<(.*)>", kind, re.S):
        return ["vec![]"] + [f"vec![{one}]" for one in values(found[1])]
    if found := re.fullmatch(r"\[(.*); *(.*)\]", kind, re.S):
        return [f"[{one}; {found[2]}]" for one in values(found[1])]
    if found := re.fullmatch(r"\((.*)\)", kind, re.S):
        each = itertools.product(*[values(one) for one in parts(found[1])])
        return ["(" + ", ".join(one) + ")" for one in itertools.islice(each, 6)]
    return ["Default::default()"]


def parts(text):
    """Types between commas, whatever commas they hold themselves."""
    depth, found = 0, [""]
    for c in text:
        depth += (c in "<([") - (c in ">)]")
        if c == "," and depth == 0:
            found.append("")
        else:
            found[-1] += c
    return [one.strip() for one in found if one.strip()]


class Rewriter:
    """One file with all its mutants in it."""

    def __init__(self, source, name, numbers, dropped):
        self.source, self.name, self.numbers, self.dropped = source, name, numbers, dropped
        self.out, self.length, self.ranges, self.function = [], 0, [], ""

    def put(self, text):
        text = text if isinstance(text, bytes) else text.encode()
        self.out.append(text)
        self.length += len(text)

    def copy(self, start, end):
        self.put(self.source[start:end])

    def text(self, node):
        return self.source[node.start_byte:node.end_byte].decode()

    def mutant(self, node, what):
        """The condition under which this mutant runs, or nothing where it does not compile."""
        row, column = node.start_point
        key = f"{self.name}:{row + 1}:{column + 1}: {what} in {self.function}"
        if key in self.dropped:
            return None
        return self.numbers.setdefault(key, len(self.numbers) + 1)

    def mark(self, start, ids):
        self.ranges.append((start, self.length, [one for one in ids if one]))

    def children(self, node, chain=False):
        at = node.start_byte
        for child in node.children:
            self.copy(at, child.start_byte)
            self.write(child, chain)
            at = child.end_byte
        self.copy(at, node.end_byte)

    def write(self, node, chain=False):
        if node.type in LEFT or node.type.endswith("_pattern"):
            self.copy(node.start_byte, node.end_byte)
        elif node.type in ("source_file", "declaration_list"):
            self.items(node)
        elif node.type == "impl_item":
            outer, kind, of = self.function, node.child_by_field_name("type"), node.child_by_field_name("trait")
            self.function = f"<{self.text(of)} for {self.text(kind)}>::" if of else f"{self.text(kind)}::"
            self.children(node)
            self.function = outer
        elif node.type == "function_item":
            self.body(node)
        elif node.type == "binary_expression":
            self.binary(node, chain)
        elif node.type == "compound_assignment_expr":
            self.assignment(node)
        elif node.type == "unary_expression" and self.text(node)[0] in "!-":
            self.unary(node)
        elif node.type == "match_block":
            self.arms(node)
        else:
            inner = node.type in ("block", "closure_expression", "arguments", "parenthesized_expression")
            self.children(node, node.type == "let_chain" or (chain and not inner))

    def items(self, node):
        at, of_tests = node.start_byte, False
        for child in node.children:
            self.copy(at, child.start_byte)
            if child.type == "attribute_item":
                of_tests = of_tests or re.search(r"\btest\b", self.text(child)) is not None
                self.copy(child.start_byte, child.end_byte)
            elif child.type in ("line_comment", "block_comment") or of_tests:
                of_tests = of_tests and child.type in ("line_comment", "block_comment")
                self.copy(child.start_byte, child.end_byte)
            else:
                self.write(child)
            at = child.end_byte
        self.copy(at, node.end_byte)

    def body(self, node):
        modifiers = [self.text(c) for c in node.children if c.type == "function_modifiers"]
        if any("const" in one for one in modifiers):
            self.copy(node.start_byte, node.end_byte)
            return
        block, returned = node.child_by_field_name("body"), node.child_by_field_name("return_type")
        outer, kind = self.function, self.text(returned) if returned else None
        self.function += self.text(node.child_by_field_name("name"))
        self.copy(node.start_byte, block.start_byte + 1)
        for value in values(kind):
            if one := self.mutant(block, f"replace the body with {value}"):
                start = self.length
                self.put(f"if crate::mutant({one}) {{ return {value if kind else ''}; }}")
                self.mark(start, [one])
        at = block.start_byte + 1
        for child in block.children[1:]:
            self.copy(at, child.start_byte)
            self.write(child)
            at = child.end_byte
        self.copy(at, node.end_byte)
        self.function = outer

    def others(self, node):
        sign = node.child_by_field_name("operator")
        found = [(other, self.mutant(sign, f"replace {self.text(sign)} with {other}")) for other in OTHER.get(self.text(sign), [])]
        return self.text(sign), [(other, one) for other, one in found if one]

    def binary(self, node, chain):
        left, right = node.child_by_field_name("left"), node.child_by_field_name("right")
        sign = self.text(node.child_by_field_name("operator"))
        if chain and sign in ("&&", "||"):
            self.children(node, chain)
            return
        sign, others = self.others(node)
        if not others:
            self.children(node)
            return
        start = self.length
        if sign in ("&&", "||"):
            # By De Morgan: both sides and the whole turned round make one out of the other.
            turned = f"^ crate::mutant({others[0][1]})"
            self.put("((((")
            self.write(left)
            self.put(f") {turned}) {sign} ((")
            self.write(right)
            self.put(f") {turned})) {turned})")
        else:
            borrowed = "&" if sign in COMPARES else ""
            self.put(f"(match ({borrowed}(")
            self.write(left)
            self.put(f"), {borrowed}(")
            self.write(right)
            self.put(")) { (__l, __r) => ")
            for other, one in others:
                inner = self.length
                self.put(f"if crate::mutant({one}) {{ __l {other} __r }} else ")
                self.mark(inner, [one])
            self.put(f"{{ __l {sign} __r }} }})")
        self.mark(start, [one for _, one in others])

    def assignment(self, node):
        left, right = node.child_by_field_name("left"), node.child_by_field_name("right")
        sign, others = self.others(node)
        if not others:
            self.children(node)
            return
        start, to, value = self.length, self.text(left), self.text(right)
        self.put("{ ")
        for other, one in others:
            inner = self.length
            self.put(f"if crate::mutant({one}) {{ {to} {other} {value}; }} else ")
            self.mark(inner, [one])
        self.put(f"{{ {to} {sign} ")
        self.write(right)
        self.put("; } }")
        self.mark(start, [one for _, one in others])

    def unary(self, node):
        sign = self.text(node)[0]
        one = self.mutant(node, f"delete {sign}")
        if not one:
            self.children(node)
            return
        start = self.length
        self.put("(match (")
        self.write(node.children[-1])
        self.put(f") {{ __v => if crate::mutant({one}) {{ __v }} else {{ {sign}__v }} }})")
        self.mark(start, [one])

    def arms(self, node):
        """Arms can be taken away where the last one takes everything."""
        patterns = [c.child_by_field_name("pattern") for c in node.children if c.type == "match_arm"]
        open_ended = any(self.text(p).strip() == "_" for p in patterns)
        at = node.start_byte
        for arm in node.children:
            self.copy(at, arm.start_byte)
            at = arm.end_byte
            if arm.type != "match_arm":
                self.copy(arm.start_byte, arm.end_byte)
                continue
            pattern, value = arm.child_by_field_name("pattern"), arm.child_by_field_name("value")
            guard = pattern.child_by_field_name("condition")
            start, ids = self.length, []
            if guard is None:
                self.copy(arm.start_byte, pattern.end_byte)
                if open_ended and self.text(pattern).strip() != "_":
                    ids = [self.mutant(arm, f"delete the arm {self.text(pattern)}")]
                    self.put(f" if !crate::mutant({ids[0]})" if ids[0] else "")
            elif guard.type in ("let_chain", "let_condition"):
                self.copy(arm.start_byte, pattern.end_byte)
            else:
                word = next(c for c in pattern.children if c.type == "if")
                self.copy(arm.start_byte, word.start_byte)
                named = self.source[arm.start_byte:word.start_byte].decode().strip()
                never = [self.mutant(arm, f"delete the arm {named}")] if open_ended else []
                never.append(self.mutant(guard, "replace the guard with false"))
                always = self.mutant(guard, "replace the guard with true")
                ids = [*never, always]
                self.put("if " + "".join(f"!crate::mutant({one}) && " for one in never if one))
                self.put("(" + (f"crate::mutant({always}) || " if always else "") + "(")
                self.write(guard)
                self.put("))")
            self.mark(start, ids)
            self.copy(pattern.end_byte, value.start_byte)
            self.write(value)
            self.copy(value.end_byte, arm.end_byte)
        self.copy(at, node.end_byte)


def packages(work):
    """One small package for each module, with the dependencies and their versions of the whole."""
    manifest = (ROOT / "Cargo.toml").read_text().partition("[dependencies]")[2].partition("[[bench]]")[0]
    wanted = set()
    for module, on in MODULES.items():
        source = work / module / "src"
        source.mkdir(parents=True, exist_ok=True)
        copy_module(work, module)
        text = "#![allow(warnings)]\n" + "".join(f"pub use {one}_alone::{one};\n" for one in on) + f"pub mod {module};\n"
        write_if_new(source / "lib.rs", text + SWITCH)
        names = sorted(set(re.findall(r"^([\w-]+) = ", manifest, re.M)) & used(source))
        wanted |= set(names)
        lines = ["[package]", f'name = "{module}_alone"', 'version = "0.0.0"', 'edition = "2024"']
        lines += ["[lib]", "doctest = false", "[dependencies]"]
        lines += [f'{one}_alone = {{ path = "../{one}" }}' for one in on] + [f"{one}.workspace = true" for one in names]
        write_if_new(work / module / "Cargo.toml", "\n".join(lines) + "\n")
    data = work / "sourcing" / "tests" / "reference"
    data.mkdir(parents=True, exist_ok=True)
    shutil.copy(ROOT / "tests" / "reference" / "learned.json", data)
    versions = [line for line in manifest.splitlines() if line.split(" = ")[0] in wanted]
    lines = ["[workspace]", 'resolver = "3"', f"members = {json.dumps(list(MODULES))}", "[workspace.dependencies]", *versions]
    lines += ["[profile.dev]", "debug = false", "[profile.dev.build-override]", "opt-level = 0"]
    lines += ['[profile.dev.package."*"]', "opt-level = 2"]
    write_if_new(work / "Cargo.toml", "\n".join(lines) + "\n")
    if not (work / "Cargo.lock").exists():
        shutil.copy(ROOT / "Cargo.lock", work)


def used(source):
    """Names of packages that the code speaks of, as it writes them and as manifests do."""
    spoken = {name for path in source.rglob("*.rs") for name in re.findall(r"\b(\w+)::", path.read_text())}
    return spoken | {name.replace("_", "-") for name in spoken}


def write_if_new(path, text):
    if not path.exists() or path.read_text() != text:
        path.write_text(text)


def copy_module(work, module):
    target = work / module / "src" / module
    shutil.rmtree(target, ignore_errors=True)
    shutil.copytree(ROOT / "src" / module, target)
    if module == "castings":
        # A macro that crosses a package must be exported.
        for name, old, new in [
            ("mod.rs", "pub(crate) mod words", "pub mod words"),
            ("words.rs", "\nmacro_rules! words", "\n#[macro_export]\nmacro_rules! words"),
            ("words.rs", "pub(crate) use words;", "pub use crate::words;"),
        ]:
            path = target / name
            path.write_text(path.read_text().replace(old, new))


def cargo(work, *words):
    told = subprocess.run(["cargo", *words, "--message-format=json"], cwd=work, capture_output=True, text=True)
    messages = [json.loads(line) for line in told.stdout.splitlines() if line.startswith("{")]
    return told, messages


def spans(message):
    """The places an error is about, those that a macro was written at among them."""
    open_ones = list(message.get("message", {}).get("spans", [])) if message.get("reason") == "compiler-message" else []
    while open_ones:
        span = open_ones.pop()
        yield span
        if span.get("expansion"):
            open_ones.append(span["expansion"]["span"])


def mutate(work, module):
    """Puts every mutant in that compiles; their names and numbers."""
    import tree_sitter
    import tree_sitter_rust

    parser = tree_sitter.Parser(tree_sitter.Language(tree_sitter_rust.language()))
    source, dropped = work / module / "src" / module, set()
    for _ in range(20):
        copy_module(work, module)
        numbers, ranges = {}, {}
        for path in sorted(source.rglob("*.rs")):
            within = path.relative_to(source)
            if "tests" in within.parts or path.name.endswith(("tests.rs", "samples.rs")):
                continue
            rewriter = Rewriter(path.read_bytes(), f"{module}/{within}", numbers, dropped)
            rewriter.write(parser.parse(rewriter.source).root_node)
            path.write_bytes(b"".join(rewriter.out))
            ranges[f"{module}/src/{module}/{within}"] = rewriter.ranges
        told, messages = cargo(work, "build", "-p", f"{module}_alone")
        if told.returncode == 0:
            return numbers
        names = {number: name for name, number in numbers.items()}
        bad = set()
        for message in messages:
            for span in spans(message):
                around = [r for r in ranges.get(span["file_name"], []) if r[0] <= span["byte_start"] and span["byte_end"] <= r[1]]
                if message["message"]["level"] == "error" and around:
                    bad |= {names[one] for one in min(around, key=lambda r: r[1] - r[0])[2]}
        if not bad:
            raise SystemExit(told.stderr)
        dropped |= bad
    raise SystemExit(f"{module} does not build")


def binary(work, module):
    told, messages = cargo(work, "test", "--no-run", "-p", f"{module}_alone")
    found = [m["executable"] for m in messages if m.get("executable") and m.get("profile", {}).get("test")]
    if not found:
        raise SystemExit(told.stderr)
    return found[0]


def passes(program, folder, setting, only=()):
    quick = {"PROPTEST_CASES": "16", "PROPTEST_MAX_SHRINK_ITERS": "0", "PROPTEST_FAILURE_PERSISTENCE": "off"}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    try:
        return subprocess.run([program, *only], cwd=folder, env={**os.environ, **quick, **setting}, timeout=90, **quiet).returncode == 0
    except subprocess.TimeoutExpired:
        return False


def rate(work, title, program, folder, mutants, share, only=()):
    """Runs the tests against each mutant in the sample; each is its name and what the environment must say."""
    if not passes(program, folder, {}, only):
        raise SystemExit(f"{title}: the tests fail without any change")
    random.Random(20260101).shuffle(mutants)
    mutants = [one for at, one in enumerate(mutants) if at % share[1] < share[0]]
    survived = sorted(name for name, setting in mutants if passes(program, folder, setting, only))
    (work / f"{title}.txt").write_text("".join(f"{one}\n" for one in survived))
    killed = len(mutants) - len(survived)
    print(f"{title}: {len(mutants)} mutants, {killed} noticed, {100 * killed / max(len(mutants), 1):.1f} %; the others: {work / title}.txt")


def figures(work, share):
    """Every figure of the tables of units goes through a function that changes one of them."""
    copy_module(work, "units")
    source, found, tables = work / "units" / "src" / "units", [], {}
    for name, kinds in FIGURES.items():
        path = source / name

        def table(declared, name=name):
            indent, constant, kind, value = declared.groups()
            tables.setdefault(name, []).append(constant)

            def figure(number):
                found.append(f"{name}: {constant}: {number[0]}, figure {len(found) + 1}")
                return f"crate::figure({len(found)}, {number[0]} as i64) as _"

            value = re.sub(r"(?<![\w.\]])(?<!; )-?\d[\d_]*(?!\w)", figure, value)
            once = f"static ONCE: std::sync::OnceLock<{kind}> = std::sync::OnceLock::new();"
            return f"{indent}fn {constant}() -> &'static {kind} {{ {once} ONCE.get_or_init(|| {{ {value} }}) }}"

        text = path.read_text()
        head, tests, tail = text.partition("#[cfg(test)]\nmod tests")
        head = re.sub(rf"^( *(?:pub\(super\) )?)const (\w+): ({kinds}) = (.*?);$", table, head, flags=re.S | re.M)
        path.write_text(head + tests + tail)
    for path in source.rglob("*.rs"):
        text, within = path.read_text(), str(path.relative_to(source))
        own = tables.get(within, []) + (tables["fit.rs"] if within == "fit/tests.rs" else [])
        for constant in own:
            text = re.sub(rf"(?<!fn )\b{constant}\b(?!\()", f"(*{constant}())", text)
        for constant in tables["thread/tables.rs"]:
            text = re.sub(rf"\btables::{constant}\b", f"(*tables::{constant}())", text)
        path.write_text(text)
    chosen = "let text = std::env::var(\"FIGURE\").unwrap_or_default(); let (a, b) = text.split_once(' ')?;"
    switch = "static CHOSEN: std::sync::OnceLock<Option<(i64, i64)>> = std::sync::OnceLock::new();"
    switch += f" let read = || {{ {chosen} Some((a.parse().ok()?, b.parse().ok()?)) }};"
    (work / "units" / "src" / "lib.rs").write_text(
        f"#![allow(warnings)]\npub mod units;\n{SWITCH}\npub fn figure(id: i64, value: i64) -> i64 {{ {switch}\n"
        "    match CHOSEN.get_or_init(read) { Some((one, by)) if *one == id => value + by, _ => value }\n}\n"
    )
    mutants = [(f"{name}, {by:+}", {"FIGURE": f"{at} {by}"}) for at, name in enumerate(found, 1) for by in (1, -1)]
    program = binary(work, "units")
    rate(work, "figures", program, work / "units", mutants, share, ["fit::", "gauge::", "thread::"])


def main():
    told = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    told.add_argument("modules", nargs="*", metavar="module", help=", ".join(MODULES))
    told.add_argument("--figures", action="store_true", help="the figures of the tables of units")
    told.add_argument("--sample", default="1/1", help="a share of all, as 1/4")
    told.add_argument("--work", default=str(ROOT / "target" / "mutation"), help="where it is built")
    told = told.parse_args()
    share = tuple(int(one) for one in told.sample.split("/"))
    work = pathlib.Path(told.work).resolve()
    packages(work)
    for module in told.modules:
        numbers = mutate(work, module)
        program = binary(work, module)
        mutants = [(name, {"MUTANT": str(number)}) for name, number in numbers.items()]
        rate(work, module, program, work / module, mutants, share)
        copy_module(work, module)
    if told.figures:
        figures(work, share)


if __name__ == "__main__":
    main()
