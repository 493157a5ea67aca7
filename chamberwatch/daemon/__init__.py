"""The watch: adapters, pipeline and journal put together; and replay, the same without threads."""
