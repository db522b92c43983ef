"""Jinja, with texts escaped by one call of C instead of three of Python.

What a template puts out is joined and sent, so that the escaped text need not be marked as safe
once more: that mark was a tenth of a page's time. Jinja's own native types hook in at the same place.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import markupsafe
from flask.templating import Environment
from jinja2 import nodes
from jinja2.compiler import CodeGenerator, Frame
from markupsafe import Markup, escape

escape_plain: Callable[[str], str] = getattr(markupsafe, "_escape_inner", escape)


def text(value: Any) -> str:
    """`value` as it may stand in a page: what is not marked as safe is escaped.

    >>> text("<b>"), str(text(7))
    ('&lt;b&gt;', '7')
    """
    kind = type(value)
    if kind is str:
        return escape_plain(value)
    if kind is Markup:
        return cast(str, value)
    return str(value) if kind is int or kind is float else escape(value)


class PageGenerator(CodeGenerator):
    """Templates whose outputs go through `text`."""

    def _output_child_pre(
        self, node: nodes.Expr, frame: Frame, finalize: CodeGenerator._FinalizeInfo
    ) -> None:
        if frame.eval_ctx.volatile or not frame.eval_ctx.autoescape or finalize.src is not None:
            super()._output_child_pre(node, frame, finalize)
        else:
            self.write("environment.text(")


class PageEnvironment(Environment):
    """The environment of every page."""

    code_generator_class = PageGenerator
    text = staticmethod(text)
