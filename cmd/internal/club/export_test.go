package club

const (
	BriefActive = briefActive
	AfterFetch  = afterFetch
)
