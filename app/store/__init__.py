"""The works' memory: schema, migrations, results and people's verdicts."""
