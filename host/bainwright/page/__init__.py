"""The page: a hold on a phone, and past ones."""
