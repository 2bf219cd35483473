"""What the pages do, as JSON, for programs that log in as a member of staff: same door, same roles.

Each route calls the function that its page calls and holds no rule of its own. ``GET /api/openapi.json``
describes it (OpenAPI 3.1) and ``GET /api`` shows the description; failures are problems (RFC 9457).
"""
