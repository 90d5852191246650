"""The database: schema, the one writer, queries. The only room that holds SQL."""
