"""Conversation."""
