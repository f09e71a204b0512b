"""The edge: problem documents, strict shapes, paging, conditional requests, and the caller of a request."""
