"""What does a line truly cost, in a build that it shares with others?"""
