"""The Django project: tables, pages and sheets around the planning core in ``bom``."""
