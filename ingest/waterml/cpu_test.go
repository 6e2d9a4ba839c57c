package waterml
import ("os";"testing";"syscall";"fmt";"bytes";"runtime")
func TestCPU(t *testing.T){ if os.Getenv("CPU")=="" {return}
 body:=[]byte(generated(benchPoints,false))
 cpu:=func()float64{ var r syscall.Rusage; syscall.Getrusage(0,&r); return float64(r.Utime.Sec+r.Stime.Sec)*1e3+float64(r.Utime.Usec+r.Stime.Usec)/1e3}
 for i:=0;i<5;i++{ runtime.GC(); a:=cpu(); stdToken(bytes.NewReader(body)); runtime.GC(); b:=cpu(); ours(body);runtime.GC(); c:=cpu(); streamed(body);runtime.GC(); d:=cpu(); d2:=newDoc(profileOf()); d2.st=&streaming{}; d2.stream(bytes.NewReader(body),true); runtime.GC(); e:=cpu(); fmt.Printf("token %.0f ours %.0f stream %.0f onepass %.0f ms cpu ratio %.1f %.1f %.1f\n",b-a,c-b,d-c,e-d,(b-a)/(c-b),(b-a)/(d-c),(b-a)/(e-d)) }
}
