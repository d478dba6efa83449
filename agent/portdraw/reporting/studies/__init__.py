"""What did a study of the plan find, as tables, pages, drawings and data?"""
