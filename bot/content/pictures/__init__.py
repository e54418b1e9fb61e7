"""Pictures of the content for people: each conversation as states, the countdown as a timeline."""
