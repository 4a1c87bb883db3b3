"""Names that modules define and no module uses: found by following imports, not by spelling.

A name counts as used where it is read in its own module outside its definition, or in another one
by an import, also through the face of a package, or as an attribute of an imported module.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass

Found = tuple[str, str]  # module and name; no name is the module itself


@dataclass(frozen=True)
class Module:
    """What a module defines at its top, and where the names come from that it imports."""

    tree: ast.Module
    defined: dict[str, ast.AST]
    imported: dict[str, Found]


def unused(sources: dict[str, str], public: set[Found]) -> list[Found]:
    """Functions, classes and constants of modules (name -> text) without a use.

    `public` names are for those who import the whole; commands are used by being registered.
    """
    modules = {name: read(text, set(sources)) for name, text in sources.items()}
    used = {found for name in modules for found in uses(name, modules)}
    used |= {origin(*found, modules) for found in public}
    return sorted(
        (name, item)
        for name, module in modules.items()
        for item, node in module.defined.items()
        if (name, item) not in used and not item.startswith("__") and not registered(item, node)
    )


def read(text: str, known: set[str]) -> Module:
    tree = ast.parse(text)
    imported: dict[str, Found] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                found = (whole, "") if whole in known else (node.module, alias.name)
                imported[alias.asname or alias.name] = found
    return Module(tree, dict(definitions(tree)), imported)


def definitions(tree: ast.Module) -> Iterator[tuple[str, ast.AST]]:
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name, node
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            for name in (n for target in targets for n in ast.walk(target)):
                if isinstance(name, ast.Name):
                    yield name.id, node


def registered(name: str, node: ast.AST) -> bool:
    """Whether a decorator puts it to use: a command, or one case of a function (then named `_`)."""
    decorators = getattr(node, "decorator_list", [])
    return name == "_" or any("command" in ast.unparse(d) for d in decorators)


def origin(module: str, name: str, modules: dict[str, Module]) -> Found:
    """Where a name is defined that a module defines or imports."""
    while module in modules and name and name not in modules[module].defined:
        if name not in modules[module].imported:
            break
        module, name = modules[module].imported[name]
    return module, name


def uses(name: str, modules: dict[str, Module]) -> Iterator[Found]:
    """What a module reads, by where it is defined; not what a definition reads of itself."""
    own = modules[name].defined

    def below(node: ast.AST, inside: str) -> Iterator[Found]:
        if node is own.get(getattr(node, "name", "")):
            inside = getattr(node, "name", "")
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load) and node.id != inside:
            yield origin(name, node.id, modules)
        elif isinstance(node, ast.Attribute):
            holder = ast.unparse(node.value)
            module, item = origin(name, holder, modules)
            if not item:
                yield origin(module, node.attr, modules)
        for child in ast.iter_child_nodes(node):
            yield from below(child, inside)

    return below(modules[name].tree, "")
