"""Words, tables, charts and pages; the only Plotly and HTML."""
