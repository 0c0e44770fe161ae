"""RS-274 text: the grammar, the writer, the reader, and the moves a reader believes."""
