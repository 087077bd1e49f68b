"""A command with commands of its own: each told in a whole sentence, a near name for a slip."""

from __future__ import annotations

import difflib

import click


class Group(click.Group):
    """As click's, without its cut-off help, and with `did you mean`."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if not name.startswith("-") and self.get_command(ctx, name) is None:
            near = difflib.get_close_matches(name, self.list_commands(ctx), 1)
            lists = f"`{ctx.command_path} --help` lists them"
            remedy = f"did you mean {near[0]}?" if near else lists
            raise click.UsageError(f"there is no command {name!r}; {remedy}", ctx)
        return super().resolve_command(ctx, args)

    def told(self, ctx: click.Context) -> list[tuple[str, str]]:
        """The commands, each with the first sentence of its help."""
        found = ((name, self.get_command(ctx, name)) for name in self.list_commands(ctx))
        return [(name, _sentence(command.help or "")) for name, command in found if command]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(self.told(ctx))


def _sentence(text: str) -> str:
    return " ".join(text.split("\n\n")[0].split())
