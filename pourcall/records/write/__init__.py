"""The one writer: from inputs and events to rows on disk."""
