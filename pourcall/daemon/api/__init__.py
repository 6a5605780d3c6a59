"""The API over HTTP and WebSocket, and what stands behind its routes."""
