"""One file a question: joins numbers and words; what notebooks and the report call."""
