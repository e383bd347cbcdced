"""How templates of reports are read."""

import jinja2


def template_environment() -> jinja2.Environment:
    """Templates of this room: values are escaped, and one that is missing is an error."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("app.report", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
