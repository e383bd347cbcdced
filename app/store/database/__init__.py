"""The database under the store: connection, migrations, tables, rows, and how records become cells."""
