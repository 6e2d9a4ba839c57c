package brieftest

// Steps are the names that the sender's Fail is called with, in order.
func Steps() []string {
	return []string{"claimed", "composed", "dialled", "before mail", "before rcpt", "before in_data", "after in_data",
		"after data", "before dot", "after dot", "before done", "after done"}
}
