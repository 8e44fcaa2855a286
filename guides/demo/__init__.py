"""The demo series: its story as data, and the drawing of its page guides. Only ``load`` knows the database."""
